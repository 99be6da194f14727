"""What holds a key or a number of a pairing shows neither in its own text, wherever that ends up."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.radio.bonds import Bond, Keys, LongTermKey, MemoryBonds, Secret, StationIdentity
from benchrig.radio.bumble_stack.terms import Terms
from benchrig.radio.identity import Identity
from benchrig.radio.security import OobData, Wish
from benchrig.steps.numbers import Question, Questions
from benchrig.steps.pair import Pair
from benchrig.steps.pairing_keys import Number, OutOfBand, PairAs, Pairing, Passkey
from tests.cli.test_pairing_secrets import forms_of, pattern_of

OCTETS = bytes.fromhex("8f2b0c1d99e3a475c6610b3e5d7a4f20")
NUMBER = "680315"
SECRET = Secret(OCTETS)
PAIRING = {
    "pair": PairAs("yes/no"), "passkey": Passkey(NUMBER), "number": Number(NUMBER),
    "out_of_band": OutOfBand(key=OCTETS.hex()),
}  # fmt: skip


class Someone:
    """A party."""


def made() -> list[Any]:
    bond = Bond("C0:11:22:33:44:55", "random", Keys(LongTermKey(SECRET, 1, SECRET), irk=SECRET, csrk=SECRET))
    bonds = MemoryBonds(StationIdentity("C0:11:22:33:44:55", SECRET))
    bonds.keep(bond)
    oob = OobData(OCTETS, OCTETS, OCTETS)
    someone: Any = Someone()
    return [
        SECRET, bond, bonds, bonds.all(), bonds.identity, oob, Wish(oob=oob), Terms(Wish(oob=oob), someone),
        Identity("C0:11:22:33:44:55", key=OCTETS), Pairing(**PAIRING), Pair(**PAIRING), Questions(int(NUMBER)),
    ]  # fmt: skip


def leaks(one: object) -> bool:
    text = f"{one!r} {one} {[one]}".encode()
    return any(form in text for form in forms_of(OCTETS)) or bool(pattern_of(NUMBER).search(text))


@pytest.mark.parametrize("one", made(), ids=lambda one: type(one).__name__)
def test_no_text_of_a_thing_shows_its_secret(one: object) -> None:
    assert not leaks(one)


async def test_a_question_does_not_show_its_number() -> None:
    assert not leaks(Question("show", int(NUMBER)))
