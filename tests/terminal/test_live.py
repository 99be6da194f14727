"""Live views: the screen, the keys, and what is drawn with characters."""

from __future__ import annotations

import asyncio
import errno
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output
from rich.cells import cell_len

from benchrig import signals
from benchrig.terminal.live import CLOSED, Keyboard, Screen, key_line, show
from benchrig.text.chart import strip
from benchrig.text.escape import plain
from benchrig.text.wrapping import LONGEST, Line, wrapped_spans
from tests.cli.screen import Emulated, played
from tests.record.strategies import device_text

spans = st.tuples(device_text() | st.text(st.characters(), max_size=60), st.sampled_from(["", "bold", "good", "dim"]))


def drawn(*frames: list[Line], columns: int = 20, height: int = 3, **options: bool) -> tuple[Emulated, str]:
    stream = io.StringIO()
    screen = Screen(Vt100_Output(stream, lambda: Size(rows=height, columns=columns)), **options)
    for lines in frames:
        screen.draw(lines)
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
    assert (written.count("one"), written.count("\x1b[K")) == (1, 3)


def test_what_does_not_fit_is_cut_with_a_mark() -> None:
    screen, _ = drawn([[("abc", ""), ("defghi", "bold"), ("jkl", "")]], columns=6)
    assert screen.lines[0] == "abcde…"


def test_a_new_size_is_drawn_anew() -> None:
    size = Size(rows=2, columns=40)
    stream = io.StringIO()
    screen = Screen(Vt100_Output(stream, lambda: size))
    lines: list[Line] = [[("x" * 30, "")], [("second", "")]]
    screen.draw(lines)
    at, size = stream.tell(), Size(rows=1, columns=10)
    screen.draw(lines)
    assert Emulated(10, 1).feed("\x1b[?1049h" + stream.getvalue()[at:]).lines == ["x" * 9 + "…"]


def test_a_terminal_that_is_gone_is_noticed_when_nothing_has_changed() -> None:
    class Gone(io.StringIO):
        def flush(self) -> None:
            if self.getvalue().count("\x1b[0m") > 1:
                raise OSError(errno.EIO, "gone")

    screen = Screen(Vt100_Output(Gone(), lambda: Size(rows=2, columns=9)))
    screen.draw([])
    with pytest.raises(OSError, match="gone"):
        screen.draw([])


def test_without_colours_there_are_none() -> None:
    assert "\x1b[0;32m" in drawn([[("x", "good")]])[1]
    assert "32m" not in drawn([[("x", "good")]], colours=False)[1]
    assert "\x1b[0;7m" in drawn([[("x", "reverse")]], colours=False)[1]


@pytest.mark.parametrize(
    ("typed", "keys"),
    [
        ("q", ["q"]), ("\x1b[A\x1b[B", ["up", "down"]), ("\x1bOA", ["up"]), ("\x1b[5~\x1b[6~", ["page up", "page down"]),
        ("\x1b[1;5A", ["up"]), ("\x1b[H\x1b[4~", ["home", "end"]), ("\r", ["enter"]), ("\x1b", ["escape"]),
        ("\x7f\x08", ["back", "back"]), ("\x1b[15~s", ["f5", "s"]), ("-\n", ["-", "enter"]), ("\x11", ["c-q"]),
        ("\x04", [CLOSED]),
    ],
)  # fmt: skip
async def test_keys_as_terminals_send_them(typed: str, keys: list[str]) -> None:
    """ECMA-48 and xterm's control sequences, in both cursor key modes."""
    assert await pressed(typed) == keys


async def pressed(typed: str) -> list[str]:
    with create_pipe_input() as source:
        keyboard = Keyboard(source)
        with source.attach(keyboard.readable):
            source.send_text(typed)
            return await keyboard.wait(1.0) or await keyboard.wait(0.01)


@given(st.text(st.characters(exclude_characters="\x03")))
def test_no_input_is_too_strange(typed: str) -> None:
    with create_pipe_input() as source:
        keyboard = Keyboard(source)
        source.send_bytes(typed.encode("utf-8", "surrogatepass")[:1000])
        keyboard.readable()


async def test_a_keyboard_that_is_gone_says_so() -> None:
    with create_pipe_input() as source:
        keyboard = Keyboard(source)
        with source.attach(keyboard.readable):
            source.close()
            assert await keyboard.wait(1.0) == [CLOSED]


async def test_ctrl_c_is_a_signal() -> None:
    came: list[str] = []
    with signals.handed_to(lambda: came.append("interrupt")):
        assert await pressed("\x03x") == ["c-c", "x"]
    assert came == ["interrupt"]


class Still:
    """A view of one line that a key ends."""

    def __init__(self, line: str) -> None:
        self.line = line
        self.keys: list[str] = []

    def lines(self, width: int, height: int) -> list[Line]:
        return [[(f"{self.line} {width}x{height} {' '.join(self.keys)}", "bold")], [("second", "good")]]

    def press(self, key: str) -> bool:
        self.keys.append(key)
        return key != "q"


async def test_a_view_is_drawn_takes_keys_and_gives_the_terminal_back() -> None:
    view = Still("here")
    with played(("here 30x4 ", "a\x1b"), ("a escape", "q"), columns=30, lines=4) as terminal:
        await show(view)
    assert view.keys == ["a", "escape", "q"]
    after = terminal.screen
    assert (after.alternate, after.cursor_shown, after.wraps) == (False, True, True)


@pytest.mark.parametrize(("columns", "lines"), [(12, 3), (2, 1), (1, 1)])
async def test_a_tiny_terminal(columns: int, lines: int) -> None:
    with played(("", "q"), columns=columns, lines=lines) as terminal:
        await show(Still("tiny"))
    assert not terminal.screen.alternate


async def test_a_view_that_is_cancelled_gives_the_terminal_back() -> None:
    with played(columns=30) as terminal:
        showing = asyncio.ensure_future(show(Still("here")))
        while "here" not in terminal.screen.text:
            await asyncio.sleep(0.001)
        showing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await showing
    assert not terminal.screen.alternate


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
    lines = wrapped_spans([("uuids: ", "dim"), ("aaaa, bbbb, cccc", "")], 14, 2)
    assert lines == [[("uuids: ", "dim"), ("aaaa,", "")], [("  ", ""), ("bbbb, ", ""), ("cccc", "")]]


@given(st.lists(spans, max_size=4), st.integers(1, 60), st.integers(0, 20))
def test_no_wrapped_line_is_too_long_and_nothing_is_lost(line: Line, width: int, indent: int) -> None:
    lines = wrapped_spans(line, width, indent)
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
