"""Pairing, bonds and protected attributes: what every radio does alike, and what those do whose stack is benchrig's own.

A system pairs unasked where a device wants it, and may keep the reason of a failure to itself: so of a protected attribute
that is read unpaired, and of reasons, only the second list speaks.
"""

from __future__ import annotations

from tests.contract.cases import Case, fails, passes

SECRET = "5e7c0902-3b7d-4a55-9c0e-7d1f5a2b8e10"
RESET = "5e7c0903-3b7d-4a55-9c0e-7d1f5a2b8e10"
READ = f"""
  - read: {SECRET}
    name: protected
    expect: {{raw: {{equals: '07'}}}}
"""
AGAIN = """
  - disconnect:
  - connect:
    name: again
    attempts: 3
"""
ENCRYPT = "  - encrypt:\n    expect: {failure: {equals: none}}\n"
PASSKEY = """
  - pair: keyboard
    name: right
    passkey: '042517'
    expect: {failure: {equals: none}, method: {equals: passkey}, authenticated: {equals: true}}
"""
WRONG = """
  - pair: keyboard
    passkey: '042516'
    expect: {failure: {equals: confirm value failed}}
"""

EVERYWHERE = [
    passes(
        "just works and a bond",
        "locked",
        """
  - pair: none
    expect:
      failure: {equals: none}
      method: {equals: just works}
      secure_connections: {equals: true}
      authenticated: {equals: false}
      bonded: {equals: true}
      key_size: {min: 16}
"""
        + READ
        + AGAIN
        + ENCRYPT
        + READ.replace("protected", "protected again"),
    ),
    passes("a passkey that the unit shows", "locked with a passkey", PASSKEY + READ),
    fails("a unit that does not pair", "not pairing", "  - pair: none\n", "fail device", says="pair"),
]
OWN_STACK = [
    passes(
        "a protected attribute before and after pairing",
        "locked",
        f"""
  - read: {SECRET}
    expect: {{att_error: {{one_of: [insufficient authentication, insufficient encryption]}}}}
  - pair: none
"""
        + READ
        + AGAIN
        + f"""
  - read: {SECRET}
    name: before it is encrypted
    expect: {{att_error: {{equals: insufficient encryption}}}}
"""
        + ENCRYPT
        + READ.replace("protected", "protected again"),
    ),
    passes("a wrong passkey and the right one", "locked with a passkey", WRONG + PASSKEY + READ),
    passes(
        "a unit that has forgotten its bonds",
        "locked with a passkey",
        PASSKEY
        + f"  - write: {RESET}\n    raw: '01'\n"
        + AGAIN
        + "  - encrypt:\n    expect: {failure: {equals: no key}}\n",
    ),
    fails(
        "a unit that has lost its bond",
        "locked with a passkey",
        PASSKEY + f"  - write: {RESET}\n    raw: '01'\n" + AGAIN + "  - encrypt:\n",
        *("pass",) * 4,
        "fail device",
        says="no key",
    ),
    Case(
        "a pairing that is stronger than the last one",
        "locked with a passkey",
        "  - pair: none\n"
        + f"  - read: {SECRET}\n    expect: {{att_error: {{equals: insufficient authentication}}}}\n"
        + PASSKEY
        + READ,
        ("pass",) * 6,
        0,
    ),
]
