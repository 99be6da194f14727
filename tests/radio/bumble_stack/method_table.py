"""Which method two devices pair by (Core Vol 3 Part H 2.3.5.1, table 2.8), written down from the specification.

Rows are the responder, columns the initiator. JW just works; I the initiator types what the responder shows, R the other way
round, B both type; NC numeric comparison. Two words: legacy pairing, then Secure Connections.
"""

CAPABILITIES = ("display", "yes/no", "keyboard", "none", "keyboard and display")

_TABLE = """
JW     JW      I   JW  I
JW     JW/NC   I   JW  I/NC
R      R       B   JW  R
JW     JW      JW  JW  JW
R      R/NC    I   JW  R/NC
"""

METHODS = {"JW": "just works", "I": "passkey", "R": "passkey", "B": "passkey", "NC": "numeric comparison"}
# what the person at the initiator is asked for
ASKED = {"JW": "", "I": "enter", "R": "show", "B": "enter", "NC": "compare"}


def cell(initiator, responder, *, secure_connections, mitm=True):
    """The word of the table; with nobody who asks for protection it is just works."""
    if not mitm:
        return "JW"
    row = _TABLE.split("\n")[1 + CAPABILITIES.index(responder)].split()
    legacy, _, secure = row[CAPABILITIES.index(initiator)].partition("/")
    return secure if secure and secure_connections else legacy
