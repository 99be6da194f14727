"""The keys of a pairing: what they ask for, and what is wrong with them."""

from __future__ import annotations

import re

import pytest

from benchrig.radio.security import Wish
from benchrig.source.problem import Problems
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import read_text
from benchrig.steps.pairing_keys import METHODS, Pairing

OOB = "{random: '" + "11" * 16 + "', confirm: '" + "22" * 16 + "'}"


def taken(text: str) -> tuple[Pairing | object, list[str]]:
    problems = Problems()
    node = read_text(text, "plan.yaml", problems)
    assert node is not None
    return Reader(problems).read(node, Pairing), [f"{each.message} | {each.advice}" for each in problems.found]


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("pair:", Wish()),
        ("pair: none", Wish()),
        ("{pair: none, mitm: true}", Wish(mitm=True)),
        ("pair: keyboard", Wish("keyboard", mitm=True)),
        ("{pair: yes/no, mitm: false, bonding: false}", Wish("yes/no", bonding=False)),
        ("{pair: display, pairing: legacy, key_size: 7}", Wish("display", True, "legacy", key_size=7)),
    ],
)
def test_keys_are_a_wish(text: str, wish: Wish) -> None:
    pairing, problems = taken(text)
    assert not problems
    assert isinstance(pairing, Pairing)
    assert pairing.wish == wish


@pytest.mark.parametrize("written", ["053528", "953528", "'95352'", "0953528", "95352x", "000000"])
@pytest.mark.parametrize("key", ["passkey", "number"])
def test_no_problem_repeats_a_number(key, written):
    """Neither its sentence nor the line below it."""
    problems = Problems()
    node = read_text(f"{{pair: yes/no, {key}: {written}}}", "plan.yaml", problems)
    assert node is not None
    Reader(problems).read(node, Pairing)
    told = "\n".join(map(str, problems.found))
    assert told
    assert re.sub("[^0-9]", "", written) not in told


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("pair: keybord", "expected one of none, display, yes/no, keyboard, keyboard and display; found the text 'keybord' | did you mean 'keyboard'?"),
        ("{pair: keyboard, passkey: '12345'}", "expected six digits in quotes, found 5 digits"),
        ("{pair: keyboard, passkey: '1234567'}", "expected six digits in quotes, found 7 digits"),
        ("{pair: keyboard, passkey: 123456}", "expected six digits in quotes, found 6 digits without quotes"),
        ("{pair: keyboard, passkey: '12345x'}", "expected six digits in quotes, found another text"),
        ("{pair: keyboard, passkey: [1]}", "expected six digits in quotes, found a list"),
        ("{pair: yes/no, number: accepted}", "expected six digits in quotes, or accept, or refuse, found another text"),
        ("{pair: none, passkey: '123456'}", "as 'none' no passkey is asked for"),
        ("{pair: keyboard, number: accept}", "as 'keyboard' no numbers are compared"),
        ("{pair: yes/no, pairing: legacy, number: accept}", "legacy pairing compares no numbers"),
        ("{pair: none, key_size: 6}", "a key has 7 to 16 bytes, not 6"),
        ("{pair: none, key_size: 17}", "a key has 7 to 16 bytes, not 17"),
        ("{pair: keyboard, passkey: '123456', out_of_band: " + OOB + "}", "with out_of_band no passkey is asked for"),
        ("{pair: none, pairing: legacy, out_of_band: " + OOB + "}", "random and confirm are for Secure Connections"),
        ("{pair: none, pairing: secure connections, out_of_band: {key: '" + "11" * 16 + "'}}", "the key of out_of_band is for legacy pairing"),
        ("{pair: none, out_of_band: {random: '" + "11" * 16 + "'}}", "expected random and confirm (Secure Connections), or key (legacy); found random"),
        ("{pair: none, out_of_band: {key: '1122'}}", "expected 16 bytes, found 2"),
        ("{pair: none, out_of_band: {key: 'xy'}}", "expected bytes as hex text"),
    ],
)  # fmt: skip
def test_wrong_keys(text: str, problem: str) -> None:
    pairing, problems = taken(text)
    assert pairing is BAD
    assert len(problems) == 1
    assert problems[0].startswith(problem)


def test_every_problem_at_once_and_no_digits_told() -> None:
    _, problems = taken("{pair: none, passkey: '98765', key_size: 3, number: '4321', bond: true}")
    assert len(problems) == 3  # what is between the keys is told when each is right
    assert not any(digits in text for text in problems for digits in ("98765", "4321"))


def test_secrets_are_in_no_text_of_the_model() -> None:
    pairing, _ = taken("{pair: keyboard, passkey: '987654'}")
    assert "987654" not in repr(pairing)
    pairing, _ = taken(f"{{pair: none, out_of_band: {OOB}}}")
    assert isinstance(pairing, Pairing)
    assert "11" * 4 not in repr(pairing) + repr(pairing.wish)
    assert r"\x11" not in repr(pairing.wish)


@pytest.mark.parametrize("capability", METHODS)
def test_methods_that_are_possible(capability: str) -> None:
    """Each pair of capabilities in table 2.8 of Core Vol 3 Part H results in one of them."""
    pairing, _ = taken(f"{{pair: {capability}}}")
    assert isinstance(pairing, Pairing)
    assert set(pairing.possible["method"]) == set(METHODS[pairing.capability])
    assert ("passkey" in pairing.methods) == (capability != "none")
