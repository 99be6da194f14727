"""The command line with everything logged, and every secret of a pairing written down for who looks for them afterwards.

    python -m tests.cli.watched SECRETS.json run plan.yaml …

`TYPED` in the environment is the passkey that the person types; `BREAK` makes each pairing end in a mistake of the program.
"""

from __future__ import annotations

import json
import logging
import os
import sys
from pathlib import Path
from typing import Any

from benchrig.cli import main, pairing
from benchrig.radio import bonds
from benchrig.radio.bumble_stack import terms
from benchrig.radio.bumble_stack.manager import SecurityManager
from benchrig.radio.bumble_stack.pairing import ClientSecurity

KEYS, NUMBERS = set[str](), set[str]()
# of a session of bumble's: keys, and what keys are made of
_OF_SESSION = ("ltk", "stk", "tk", "dh_key", "mac_key", "peer_ltk", "peer_identity_resolving_key", "peer_signature_key")


class Typist:
    """The person at the terminal."""

    async def enter(self) -> int | None:
        return int(os.environ["TYPED"])

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        pass

    async def compare(self, number: int) -> bool:
        return True


def note_key(key: Any) -> None:
    if isinstance(key, bytes) and any(key):
        KEYS.add(bytes(key).hex())


def note_bond(bond: bonds.Bond) -> None:
    for key in (bond.keys.irk, bond.keys.csrk):
        note_key(key)
    for long in (bond.keys.ltk, bond.keys.ltk_central, bond.keys.ltk_peripheral):
        note_key(long and long.key)


def watch() -> None:
    """Note each session when it ends, at both ends, each number that goes over a display or a keyboard, and each identity."""
    ended, made, entered = SecurityManager.on_session_end, terms.Delegate.generate_passkey, terms.Delegate.get_number
    compared, checked = terms.Delegate.compare_numbers, bonds.StationIdentity.__post_init__

    def on_session_end(self: Any, session: Any) -> None:
        for name in _OF_SESSION:
            note_key(getattr(session, name, None))
        for bond in self.bonds.all():
            note_bond(bond)
        ended(self, session)

    async def generate_passkey(self: Any) -> int:
        NUMBERS.add(f"{(number := await made(self)):06}")
        return number

    async def get_number(self: Any) -> int | None:
        if (number := await entered(self)) is not None:
            NUMBERS.add(f"{number:06}")
        return number

    async def compare_numbers(self: Any, number: int, digits: int) -> bool:
        NUMBERS.add(f"{number:06}")
        return await compared(self, number, digits)

    def identity(self: Any) -> None:
        note_key(self.irk)
        checked(self)

    SecurityManager.on_session_end = on_session_end  # type: ignore[method-assign]
    terms.Delegate.generate_passkey = generate_passkey  # type: ignore[method-assign]
    terms.Delegate.get_number = get_number  # type: ignore[method-assign]
    terms.Delegate.compare_numbers = compare_numbers  # type: ignore[method-assign]
    bonds.StationIdentity.__post_init__ = identity  # type: ignore[method-assign]


def break_down() -> None:
    """A mistake of the program while it holds keys."""

    def broken(self: Any, *_: Any) -> None:
        raise RuntimeError("something broke")

    ClientSecurity._paired = broken  # type: ignore[assignment,method-assign]


if __name__ == "__main__":
    out, words = Path(sys.argv[1]), sys.argv[2:]
    logging.basicConfig(level=logging.DEBUG)
    watch()
    if "BREAK" in os.environ:
        break_down()
    if "TYPED" in os.environ:
        pairing.party_here = lambda _: Typist()
    try:
        main(words, prog_name="benchrig")
    finally:
        out.write_text(json.dumps({"keys": sorted(KEYS), "numbers": sorted(NUMBERS)}))
