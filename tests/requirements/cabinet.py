"""What the makers of medicine cabinets want to know: who may do what."""

from __future__ import annotations

from tests.requirements.kit import Requirement

REACH = "  - scan:\n    for: 300 ms\n    on_fail: stop\n"
# what the cabinet has to ask for, line by line
MATRIX = """
  - access:
      device name: {read: open}
      appearance: {read: open}
      door: {read: open, subscribe: encrypted}
      user description: {read: open, write: authenticated}
      dose: {read: authenticated, write: secure connections}
      audit: {read: encrypted}
      service code: {write: any}
      lamp: {read: open, write without response: encrypted}
    name: who may do what
    levels:
      encrypted: {pair: none}
      authenticated: {pair: keyboard, passkey: '271828'}
      secure connections: {pair: keyboard, passkey: '271828', bonding: true}
    writes: [dose, user description, lamp]
    changes: {lamp: 2}
    expect: {differences: {equals: 0}, not_tried: {equals: 0}}
"""


def _requirement(name: str, before: str, after: str, says: str) -> Requirement:
    return Requirement(name, "cabinet", MATRIX, (before, after), fails="who may do what", says=says, reach=REACH)


REQUIREMENTS = [
    _requirement(
        "a dose is set with a key of Secure Connections alone",
        "write_needs: secure connections}\n      - {characteristic: audit",
        "write_needs: authenticated}\n      - {characteristic: audit",
        "dose, write, authenticated: expected insufficient authentication, found allowed",
    ),
    _requirement(
        "nobody listens to the door without encryption",
        "subscribe_needs: encrypted",
        "volatile: true",
        "door, subscribe, no security: expected insufficient authentication, found allowed",
    ),
    _requirement(
        "the service code is never told",
        "service code, properties: [write]",
        "service code, properties: [read, write]",
        "service code, read, no security: expected a line in the matrix, found offered by the table",
    ),
    _requirement(
        "a lamp that answers nothing obeys no stranger",
        "value: 1, write_needs: encrypted",
        "value: 1",
        "lamp, write without response, no security: expected refused, found allowed",
    ),
    _requirement(
        "a bond is no reason to send to a link without encryption",
        "faults: {}",
        "faults: {notifies_unencrypted: true}",
        "door, subscribe, after pairing: expected insufficient encryption, found",
    ),
]
