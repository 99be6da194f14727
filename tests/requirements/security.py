"""Who gets in: sound units, and twins with one defect of security each, found in one step of a plan. Without this step, or
this limit, the plan passes the twin."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tests.requirements.kit import REACH, Requirement


@dataclass(frozen=True)
class Defect(Requirement):
    """`without` is what of the plan is written otherwise so that it misses the defect; '' for the step that finds it."""

    without: tuple[str, str] = ("", "")
    # something is judged in each plan, also without that step
    reach: str = f"{REACH}    expect: {{elapsed: {{max: 10 s}}}}\n"

    @property
    def blind_plan(self) -> str:
        before, after = self.without
        text = before or self._deciding
        assert self.plan.count(text) == 1, f"{self.name}: '{text}' is there {self.plan.count(text)} times"
        return self.plan.replace(text, after)

    @property
    def _deciding(self) -> str:
        """The step that finds the defect, with all that is in it."""
        steps = re.split(r"(?m)^(?=  - )", self.plan.partition("\nsteps:\n")[2])
        [found] = [step for step in steps if f"\n    name: {self.fails}\n" in step]
        return found


MATRIX = """
  - read: state
  - access:
      state: {read: open, subscribe: encrypted}
      limit: {read: encrypted, write: authenticated}
      limit/user description: {read: open, write: authenticated}
      owner: {read: authenticated, write: secure connections}
      log: {subscribe: authenticated}
      buzzer: {read: open, write without response: authenticated}
      factory key: {read: any}
      device name: {read: open}
      appearance: {read: open}
    name: who may do what
    levels:
      encrypted: {pair: none}
      authenticated: {pair: display, passkey: '042517'}
      secure connections: {pair: display, passkey: '042517'}
    writes: [limit, limit/user description, owner, buzzer]
    changes: {buzzer: 2}
    expect: {differences: {equals: 0}}
"""


def in_matrix(name: str, before: str, after: str, says: str) -> Defect:
    """A defect of the safe that its access matrix finds."""
    return Defect(name, "safe", MATRIX, (before, after), fails="who may do what", says=says)


HIDDEN = "authorized: false}\n      - {characteristic: reset, properties: [read], value: 7}"
ACCESS = [
    in_matrix("a value that anybody reads", "value: 8\n        read_needs: encrypted", "value: 8", "limit"),
    in_matrix("a setting that anybody writes", "        write_needs: authenticated\n        descriptors:", "        descriptors:", "limit"),
    in_matrix("a setting that just works may write", "write_needs: authenticated\n        descriptors:",
              "write_needs: encrypted\n        descriptors:", "limit"),
    in_matrix("a stream that anybody hears", "subscribe_needs: encrypted, ", "", "state"),
    in_matrix("a stream that just works may hear", "subscribe_needs: authenticated, notify", "subscribe_needs: encrypted, notify", "log"),
    in_matrix("legacy pairing is enough", "write_needs: secure connections", "write_needs: authenticated", "owner"),
    in_matrix("a descriptor that anybody writes", "writable: true, write_needs: authenticated", "writable: true", "user description"),
    in_matrix("a command without response that anybody gives", "value: 1, write_needs: authenticated}", "value: 1}", "buzzer"),
    in_matrix("an attribute that nobody knows of", "authorized: false}", HIDDEN, "reset"),
    in_matrix("the wrong error", "least_key_size: 7", "least_key_size: 7, strict: false", "insufficient encryption"),
    Defect(
        "values for whom has been subscribed before",
        "safe",
        MATRIX.replace("'042517'}\n    writes", "'042517', bonding: true}\n    writes"),
        ("least_key_size: 7", "least_key_size: 7, faults: {notifies_unencrypted: true}"),
        fails="who may do what",
    ),
]  # fmt: skip

PAIRED = """
  - pair: display
    passkey: '042517'
"""
BACK = """
  - disconnect:
  - connect:
    name: connect again
    attempts: 3
"""
OF_KEYPAD = [
    Defect(
        "a bonded address in place of the key",
        "safe",
        PAIRED + BACK + """
  - read: limit
    name: not before the link is encrypted
    expect: {att_error: {equals: insufficient encryption}}
  - encrypt:
""",
        ("least_key_size: 7", "least_key_size: 7, faults: {trusts_address: true}"),
        fails="not before the link is encrypted",
    ),
    Defect(
        "a short key opens what needs a long one",
        "safe",
        """
  - pair: display
    passkey: '042517'
    key_size: 7
  - read: factory key
    name: not with a short key
    expect: {att_error: {equals: encryption key size too short}}
""",
        ("key_size_needed: 16, authorized: false", "authorized: false"),
        fails="not with a short key",
    ),
    Defect(
        "nobody is asked whether he may",
        "safe",
        PAIRED + """
  - read: factory key
    name: for the maker alone
    expect: {att_error: {equals: insufficient authorization}}
""",
        (", authorized: false", ""),
        fails="for the maker alone",
    ),
    Defect(
        "it hangs in the pairing",
        "safe",
        """
  - read: state
  - pair: display
    name: it pairs
    passkey: '042517'
""",
        ("least_key_size: 7", "least_key_size: 7, faults: {silent_at: dhkey check}"),
        fails="it pairs",
        cause="device",
        says="timeout",
    ),
    Defect(
        "it lets nobody in",
        "safe",
        """
  - read: state
  - pair: display
    name: it pairs
    passkey: '042517'
""",
        ("least_key_size: 7", "least_key_size: 7, faults: {refuses: repeated attempts}"),
        fails="it pairs",
        cause="device",
        says="repeated attempts",
    ),
]  # fmt: skip

SHOWN = """
    passkey: '${code}'
    steps:
      - console:
        name: the passkey
        until: {line: {matches: 'passkey (?P<code>[0-9]{6})'}}
        save: {code: code}
"""
PAIRS = f"""
  - pair: keyboard
    name: it pairs{SHOWN}"""
LIMITS = "    expect: {method: {equals: passkey}, secure_connections: {equals: true}, key_size: {min: 16}, bonded: {equals: true}}\n"
OF_FOB = "wait_after_failure: 2 s"


def refused(what: str, keys: str, reason: str, then: str = "") -> str:
    """A pairing that the fob has to refuse."""
    return f"""
  - pair: {keys}
    name: {what}
    expect: {{failure: {{equals: {reason}}}}}
{then}"""


OF_DISPLAY = [
    Defect("any passkey will do", "fob", refused("a wrong passkey", "keyboard\n    passkey: '000001'", "confirm value failed"),
           (OF_FOB, "faults: {unchecked: true}"), fails="a wrong passkey", cause="device"),
    Defect("just works will do", "fob", refused("without a passkey", "none", "authentication requirements"),
           ("accepts: authenticated, ", ""), fails="without a passkey"),
    Defect("legacy pairing will do", "fob",
           refused("no legacy pairing", "keyboard\n    pairing: legacy\n    passkey: '000001'", "authentication requirements"),
           ("pairing: secure connections, ", ""), fails="no legacy pairing"),
    Defect("a short key will do", "fob", refused("no short key", "keyboard\n    key_size: 15\n    passkey: '000001'", "encryption key size"),
           ("least_key_size: 16, ", ""), fails="no short key"),
    Defect("one may guess again and again", "fob",
           refused("a wrong passkey", "keyboard\n    passkey: '000001'", "confirm value failed",
                   refused("not at once again", "keyboard\n    passkey: '000002'", "repeated attempts")),
           (", wait_after_failure: 2 s", ""), fails="not at once again"),
    Defect("the same passkey each time", "fob",
           PAIRS + refused("the passkey of the last pairing", "keyboard\n    passkey: '${code}'", "confirm value failed"),
           ("least_key_size: 16", "passkey: '042517', least_key_size: 16"), fails="the passkey of the last pairing"),
    Defect("legacy pairing alone", "fob", PAIRS + LIMITS, ("pairing: secure connections", "pairing: legacy"), fails="it pairs",
           without=("secure_connections: {equals: true}, ", "")),
    Defect("a key of seven bytes", "fob", PAIRS + LIMITS, ("least_key_size: 16", "key_size: 7"), fails="it pairs",
           without=("key_size: {min: 16}, ", "")),
    Defect("no bond is kept", "fob", PAIRS + LIMITS, ("least_key_size: 16", "least_key_size: 16, bonding: false"), fails="it pairs"),
    Defect("a weaker bond in the place of a good one", "fob",
           PAIRS + refused("no weaker bond", "none", "authentication requirements"),
           ("accepts: authenticated", "accepts: encrypted"), fails="no weaker bond"),
    Defect("it forgets whom it has left", "fob", PAIRS + BACK + """
  - encrypt:
    name: the key of the bond
""", (OF_FOB, "faults: {forgets_bonds: disconnection}"), fails="the key of the bond", cause="device", says="no key"),
    Defect("it forgets without power", "fob", PAIRS + """
  - reboot:
    steps:
      - write: restart
        value: 1
  - encrypt:
    name: the key of the bond
""", (OF_FOB, "faults: {forgets_bonds: restart}"), fails="the key of the bond", cause="device", says="no key"),
    Defect("a reset that keeps the bonds", "fob", PAIRS + """
  - unpair:
    name: no bond leaves the line
    passkey: '${new}'
    steps:
      - write: reset
        value: 1
    numbers:
      - console:
        name: the new passkey
        until: {line: {matches: 'passkey (?P<new>[0-9]{6})'}}
        save: {new: new}
    expect: {old_key: {equals: no key}, pairs_again: {equals: true}}
""", (OF_FOB, "faults: {keeps_bonds: true}"), fails="no bond leaves the line", says="accepted"),
]  # fmt: skip

DEFECTS: list[Defect] = [*ACCESS, *OF_KEYPAD, *OF_DISPLAY]
