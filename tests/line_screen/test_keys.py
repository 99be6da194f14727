"""Pastes are typed."""

from __future__ import annotations

import pytest
from prompt_toolkit.input.vt100_parser import Vt100Parser

from benchrig.line_screen.keys import TypedOnly


@pytest.mark.parametrize("size", [1, 3, 100])
@pytest.mark.parametrize("text", ["A\x1b[200~B\rC\r", "\x1b[200~A\r\x1b[201~B\r", "A\x1b[200~\x03"])
def test_the_mark_of_a_paste_is_its_characters(text: str, size: int) -> None:
    heard = list[str]()
    parser = TypedOnly(Vt100Parser(lambda key: heard.append(key.data)))
    for at in range(0, len(text), size):
        parser.feed(text[at : at + size])
    parser.flush()
    assert "".join(heard) == text


def test_other_keys_are_what_they_were() -> None:
    heard = list[str]()
    TypedOnly(Vt100Parser(lambda key: heard.append(str(key.key)))).feed_and_flush("\x1b[A\x1b[5~x")
    assert heard == ["Keys.Up", "Keys.PageUp", "x"]
