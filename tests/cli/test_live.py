"""Live views: the screen, the keys, and what is drawn with characters."""

from __future__ import annotations

import asyncio
import io
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from benchrig.cli.chart import strip
from benchrig.cli.lines import LONGEST, key_line, wrapped
from benchrig.cli.live import ConsoleKeyboard, Line, Screen, keys_in
from benchrig.text.escape import plain
from tests.cli.screen import Emulated
from tests.record.strategies import device_text

spans = st.tuples(device_text() | st.text(st.characters(), max_size=60), st.sampled_from(["", "bold", "good", "dim"]))


def drawn(*frames: list[Line], columns: int = 20, height: int = 3, **options: bool) -> tuple[Emulated, str]:
    stream = io.StringIO()
    screen = Screen(stream, **options)
    for lines in frames:
        screen.draw(lines, (columns, height))
    written = stream.getvalue()
    return Emulated(columns, height).feed("\x1b[?1049h" + written), written


@given(st.lists(st.lists(spans, max_size=4), max_size=5), st.integers(1, 60), st.booleans())
def test_nothing_that_a_device_sends_leaves_its_line(lines: list[Line], columns: int, ascii_only: bool) -> None:
    _, written = drawn(lines, columns=columns, ascii_only=ascii_only)
    assert not ascii_only or written.isascii()


def test_only_changed_lines_are_written_again() -> None:
    first: list[Line] = [[("one", "")], [("two", "")]]
    screen, written = drawn(first, [[("one", "")], [("2", "")]])
    assert screen.lines == ["one", "2", ""]
    assert (written.count("one"), written.count("\x1b[2K")) == (1, 3)


def test_what_does_not_fit_is_cut_with_a_mark() -> None:
    screen, _ = drawn([[("abc", ""), ("defghi", "bold"), ("jkl", "")]], columns=6)
    assert screen.lines[0] == "abcde…"


def test_a_new_size_is_drawn_anew() -> None:
    stream = io.StringIO()
    screen = Screen(stream)
    lines: list[Line] = [[("x" * 30, "")], [("second", "")]]
    screen.draw(lines, (40, 2))
    at = stream.tell()
    screen.draw(lines, (10, 1))
    assert Emulated(10, 1).feed("\x1b[?1049h" + stream.getvalue()[at:]).lines == ["x" * 9 + "…"]


def test_without_colours_there_are_none() -> None:
    assert "\x1b[32m" in drawn([[("x", "good")]])[1]
    assert "\x1b[32m" not in drawn([[("x", "good")]], colours=False)[1]


@pytest.mark.parametrize(
    ("typed", "keys"),
    [
        ("q", ["q"]), ("\x1b[A\x1b[B", ["up", "down"]), ("\x1bOA", ["up"]), ("\x1b[5~\x1b[6~", ["page up", "page down"]),
        ("\x1b[1;5A", ["up"]), ("\x1b[H\x1b[4~", ["home", "end"]), ("\r", ["enter"]), ("\x1b", ["escape"]),
        ("\x7f", ["back"]), ("\x1b[15~s", ["s"]),
    ],
)  # fmt: skip
def test_keys_as_terminals_send_them(typed: str, keys: list[str]) -> None:
    """ECMA-48 and xterm's control sequences, in both cursor key modes."""
    assert keys_in(typed) == keys


@given(st.text(st.characters()))
def test_no_input_is_too_strange(typed: str) -> None:
    keys_in(typed)


async def test_keys_of_a_windows_console() -> None:
    typed = list("s\xe0Hq")
    console = SimpleNamespace(kbhit=lambda: bool(typed), getwch=lambda: typed.pop(0))
    keyboard = ConsoleKeyboard(console)
    assert await keyboard.wait(1.0) == ["s", "up", "q"]
    loop = asyncio.get_running_loop()
    before = loop.time()
    assert await keyboard.wait(0.01) == []
    assert loop.time() - before >= 0.01


def test_a_strip_of_values() -> None:
    assert strip([0, 1, 2, 3, 4, 5, 6, 7]) == ["▁▂▃▄▅▆▇█"]
    assert strip([0, 15], 2) == [" █", "▁█"]
    assert strip([0, 3, None], ascii_only=True) == [".# "]


def test_values_that_are_all_the_same_fill_half() -> None:
    assert strip([5, 5], 2) == ["  ", "██"]


def test_a_strip_of_nothing_is_empty() -> None:
    assert strip([None, None], 2) == ["  ", "  "]


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, width=32) | st.none()), st.integers(1, 5))
def test_a_strip_has_its_size(values: list[float | None], height: int) -> None:
    lines = strip(values, height)
    assert [len(line) for line in lines] == [len(values)] * height
    for at, value in enumerate(values):
        assert (lines[-1][at] == " ") == (value is None)


def test_a_line_is_wrapped_at_words_and_keeps_its_styles() -> None:
    lines = wrapped([("uuids: ", "dim"), ("aaaa, bbbb, cccc", "")], 14, 2)
    assert lines == [[("uuids: ", "dim"), ("aaaa,", "")], [("  ", ""), ("bbbb, ", ""), ("cccc", "")]]


@given(st.lists(spans, max_size=4), st.integers(1, 60), st.integers(0, 20))
def test_no_wrapped_line_is_too_long_and_nothing_is_lost(line: Line, width: int, indent: int) -> None:
    lines = wrapped(line, width, indent)
    texts = ["".join(text for text, _ in each) for each in lines]
    assert all(cell_len(text) <= max(width, 2) for text in texts)
    kept = "".join(plain(text, LONGEST) for text, _ in line)
    assert "".join(texts).replace(" ", "") == kept.replace(" ", "")


KEYS = (("q", "quit"), ("up/down", "choose"), ("s", "sort"))


@pytest.mark.parametrize(
    ("width", "line"),
    [
        (80, "q quit  up/down choose  s sort"),
        (29, "q quit  up/down  s sort"),
        (15, "q  up/down  s"),
        (11, "q up/down s"),
    ],
)
def test_keys_lose_their_words_where_room_is_short(width: int, line: str) -> None:
    assert key_line(KEYS, width) == line
