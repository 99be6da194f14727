"""A terminal that takes nothing, or is gone, holds up nobody."""

from __future__ import annotations

import io
import threading
from typing import cast

from prompt_toolkit.data_structures import Size
from prompt_toolkit.output import DummyOutput
from prompt_toolkit.output.vt100 import Vt100_Output

from benchrig.line_screen.writing import Writer, written_apart


class Stuck(io.StringIO):
    """Takes nothing until it is `freed`; then `broken` says whether it is there at all."""

    encoding = "utf-8"

    def __init__(self, *, broken: bool = False) -> None:
        super().__init__()
        self.freed, self.broken = threading.Event(), broken

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.freed.wait()
        if self.broken:
            raise OSError(5, "Input/output error")
        return super().write(text)


def test_who_writes_does_not_wait_and_nothing_is_lost() -> None:
    terminal = Stuck()
    writer = Writer(terminal, gone=lambda: None)
    for text in ("a", "b", "c"):
        writer.write(text)
    assert writer.is_busy
    terminal.freed.set()
    writer.close()
    assert (terminal.getvalue(), writer.is_busy) == ("abc", False)


def test_a_terminal_that_is_gone_is_told_once() -> None:
    terminal, gone = Stuck(broken=True), list[str]()
    terminal.freed.set()
    writer = Writer(terminal, gone=lambda: gone.append("gone"))
    for text in ("a", "b"):
        writer.write(text)
    writer.close()
    assert gone == ["gone"]


def test_one_that_never_takes_anything_does_not_keep_the_end() -> None:
    terminal = Stuck()
    with written_apart(Vt100_Output(terminal, lambda: Size(24, 80)), lambda: None) as (output, is_busy):
        output.write("a")
        output.flush()
        assert is_busy()
    terminal.freed.set()


def test_an_output_that_is_no_terminal_stays_as_it_is() -> None:
    output = DummyOutput()
    with written_apart(output, lambda: None) as (same, is_busy):
        assert same is output
        assert not is_busy()


def test_the_character_set_is_that_of_the_terminal() -> None:
    terminal = Stuck()
    terminal.freed.set()
    writer = Writer(terminal, gone=lambda: None)
    assert writer.encoding == cast(io.TextIOBase, terminal).encoding
    writer.close()
