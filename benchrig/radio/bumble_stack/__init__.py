"""bleak's interface over the Bluetooth host stack library bumble, on any controller that speaks HCI.

stack.py        the host: one central, its scans and connections
scanner.py      `BleakScanner(callback, backend=BumbleScanner, stack=stack)`
client.py       `BleakClient(device, backend=BumbleClient, stack=stack)`
link.py         one connection of a client: what runs on it, how it ends
procedures.py   ATT: read, write, subscribe, discover
unasked.py      notifications that nobody asked for
pairing.py      the security of a link of the bench: pair, forget; encryption.py: with the key of a bond
manager.py      the security manager of one side: its pairings, its bonds, how its links are protected
smp.py          one pairing of it; smp_order.py the order of its PDUs, terms.py what a side wants of it
keys.py         bonds and addresses, as bumble has them
faults.py       what bleak has no exception for
advertising.py  advertising data, read strictly and built; needs no bumble
reports.py      advertising reports out of HCI events
quiet.py        bumble's debug formatting, stopped
bumble_api.py   the fence around bumble; bumble_check.py what is taken from it

Both raise bleak's own exceptions as an operating system's backend would. The names below are imported when they are
asked for: bumble takes 0.3 s.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.client import BumbleClient
    from benchrig.radio.bumble_stack.link import AttTimeout
    from benchrig.radio.bumble_stack.scanner import BumbleScanner, Peer
    from benchrig.radio.bumble_stack.stack import HostStack

__all__ = ["AttTimeout", "BumbleClient", "BumbleScanner", "HostStack", "Peer"]

_HOMES = {
    "AttTimeout": "link",
    "BumbleClient": "client",
    "BumbleScanner": "scanner",
    "HostStack": "stack",
    "Peer": "scanner",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
