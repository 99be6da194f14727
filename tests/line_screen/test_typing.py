"""Keys to lines: a barcode reader, a person, a paste, and control characters in all of them."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.line_screen.typing import BURST, MOST, Said, Typing

KEYS = {
    "\x03": "c-c",
    "\x04": "c-d",
    "\x08": "c-h",
    "\x7f": "c-h",
    "\x1b": "escape",
    "\r": "c-m",
    "\n": "c-j",
    "\t": "c-i",
}
STOP = Said.INTERRUPT


def key_of(character: str) -> str:
    return KEYS.get(character) or (
        character if character.isprintable() else f"c-{chr(ord(character) % 64 + 64).lower()}"
    )


def typed(text: str, *, apart: float = 0.2, typing: Typing | None = None) -> list[str | Said]:
    """What keys that follow each other so far apart come to; 0: all of them are read at once."""
    typing = typing or Typing()
    made: list[str | Said] = []
    for at, character in enumerate(text):
        more = apart == 0 and any(rest.isprintable() for rest in text[at + 1 :])
        made += typing.press(key_of(character), character, at * apart, more=more)
    return made


@pytest.mark.parametrize("apart", [0.0, BURST / 2, 0.2])
@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\t"])
def test_a_line_ends_with_enter_or_tab(end: str, apart: float) -> None:
    assert typed(f"VFL3-000012{end}A{end}", apart=apart) == ["VFL3-000012", "A"]


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ("VFX\x08L\r", ["VFL"]),
        ("VF\x7f\x7f\x7fA\r", ["A"]),
        ("wrong\x1bright\r", ["right"]),
        ("\r  \r\r", []),
        ("A\x03", [STOP]),
        ("\x04", [STOP]),
        ("A\x1dB\x1a\r", ["A\x1dB\x1a"]),
    ],
)
def test_a_person_types_slowly_and_may_correct(keys: str, expected: list[str | Said]) -> None:
    assert typed(keys) == expected


@pytest.mark.parametrize("control", "\x00\x03\x04\x08\x1a\x1b\x1d\x7f")
def test_a_control_character_in_a_barcode_is_part_of_it(control: str) -> None:
    """It neither ends the shift, nor makes another barcode of what is around it."""
    assert typed(f"VFL3{control}-000012\r", apart=0) == [f"VFL3{control}-000012"]
    assert typed(f"{control}VFL3\r", apart=0) == [f"{control}VFL3"]
    assert typed(f"VFL3{control}\r", apart=BURST / 2) == [f"VFL3{control}"]


def test_ctrl_c_is_a_command_again_after_a_burst() -> None:
    typing = Typing()
    assert typed("VFL3\r", apart=0.001, typing=typing) == ["VFL3"]
    assert typing.press("c-c", "\x03", 0.0051, more=False) == [STOP]


def test_a_key_without_a_character_does_nothing() -> None:
    typing = Typing()
    assert typing.press("up", "\x1b[A", 0.0, more=False) == []
    assert typing.text == ""


def test_each_pasted_line_is_one_and_the_rest_stays() -> None:
    typing = Typing()
    assert typing.press("<bracketed-paste>", "A\nB\x03\r\nC", 0.0, more=False) == ["A", "B\x03"]
    assert typing.text == "C"


@pytest.mark.parametrize("count", [MOST, MOST + 1, 3 * MOST])
def test_a_line_without_end_is_bounded(count: int) -> None:
    typing = Typing()
    assert typing.press("<bracketed-paste>", "L" * count, 0.0, more=False) == []
    assert (len(typing.text), typing.lost) == (MOST, count - MOST)
    assert typing.press("c-m", "\r", 9.0, more=False) == ["L" * MOST]
    assert (typing.text, typing.lost) == ("", 0)


@given(st.text(string.ascii_letters + "é \x01\x03\x04\x08\x1b\x1d", min_size=1), st.sampled_from([0.0, 0.001, BURST]))
def test_whatever_a_reader_types_is_read_as_it_is(text: str, apart: float) -> None:
    """Behind its first character, which tells that it is a reader."""
    assert typed(f"V{text}\r", apart=apart) == [f"V{text}"]
