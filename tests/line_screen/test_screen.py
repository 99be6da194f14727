"""The application on a pseudo-terminal, with a line that is none: keys arrive, what changes is drawn, every end is in order."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchrig.line_screen.letters import SIGNS, Size, large
from tests.cli.kit import resize
from tests.line.seen import panel
from tests.line.terminal import PATIENCE, LineTerminal

ROOT = Path(__file__).parents[2]


class Fake(LineTerminal):
    """`told` is what the line has been told."""

    def __init__(self, folder: Path, *words: str, **how: Any) -> None:
        self._told = folder / "told.txt"
        command = [sys.executable, "-m", "tests.line_screen.fake"]
        super().__init__(folder, *words, command=command, PYTHONPATH=str(ROOT), **how)
        self.until(lambda: " slot 1" in "\n".join(self.lines), "the screen")

    @property
    def told(self) -> list[str]:
        return self._told.read_text("utf-8").splitlines() if self._told.exists() else []

    def type(self, text: str) -> None:
        os.write(self._master, text.encode())

    def tell(self, what: str) -> None:
        self.until(lambda: what in self.told, f"{what} among what was told")

    def words(self, *slots: str) -> list[str]:
        """The large words of slots; none while they are not all on the screen."""
        try:
            return [panel(self.lines, slot, self.screen.columns).word for slot in slots]
        except AssertionError:
            return []


Start = Callable[..., Fake]


@pytest.mark.parametrize("clock", [pytest.param("real", marks=pytest.mark.slow), "virtual"])
def test_what_is_scanned_reaches_the_line_and_what_it_says_is_drawn(tmp_path: Path, clock: str) -> None:
    with Fake(tmp_path, "waiting", clock) as terminal:
        terminal.scan("four")
        terminal.until(lambda: terminal.words(*"1234") == ["PASS", "", "FAIL", "STOP"], "the verdicts")
        terminal.scan("VFL3-000012")
        terminal.until(lambda: "read VFL3-000012" in terminal.text, "the message")
        terminal.scan("END")
        assert terminal.end() == 0
        assert terminal.told == ["read 'four' 4", "read 'VFL3-000012' 11", "read 'END' 3", "over '' 0"]


def test_the_begin_of_a_paste_in_a_barcode_takes_nothing_that_follows(tmp_path: Path) -> None:
    with Fake(tmp_path, "waiting") as terminal:
        terminal.type("A\x1b[200~B\r")
        terminal.tell(r"read 'A\x1b[200~B' 8")
        terminal.scan("VFL3-000012")
        terminal.tell("read 'VFL3-000012' 11")


@pytest.mark.slow
def test_a_barcode_with_every_kind_of_character(tmp_path: Path) -> None:
    with Fake(tmp_path, "waiting") as terminal:
        terminal.type("A\x03B\x04\x1b\x1a\x1dC\r")
        terminal.tell(r"read 'A\x03B\x04\x1b\x1a\x1dC' 8")
        terminal.scan("L" * 12_000)
        terminal.tell(f"read '{'L' * 99} 10240")
        terminal.scan("END")
        assert terminal.end() == 0


@pytest.mark.parametrize("key", [pytest.param("\x03", marks=pytest.mark.slow), "\x04"])
def test_ctrl_c_and_ctrl_d_end_in_order(tmp_path: Path, key: str) -> None:
    with Fake(tmp_path, "running") as terminal:
        terminal.type(key)
        assert terminal.end() == 0
        assert terminal.told == ["interrupt '' 0", "over '' 0"]


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_in_order(tmp_path: Path, number: signal.Signals) -> None:
    with Fake(tmp_path, "running") as terminal:
        terminal.process.send_signal(number)
        assert terminal.end() == 0
        assert terminal.told == ["leave '' 0", "over '' 0"]


def test_a_closed_terminal_ends_in_order(tmp_path: Path) -> None:
    terminal = Fake(tmp_path, "running")
    os.close(terminal._master)
    assert terminal.process.wait(PATIENCE) == 0
    assert terminal.told[0] == "leave '' 0"
    assert terminal.told[-1] == "over '' 0"
    assert not [each for each in terminal.told if each.startswith(("stray", "failed"))]


@pytest.mark.slow
def test_ctrl_z_suspends_nothing(tmp_path: Path) -> None:
    with Fake(tmp_path, "running") as terminal:
        terminal.type("\x1a")
        terminal.until(lambda: "\\x1a" in terminal.text, "the key")
        terminal.type("\x1b")
        terminal.until(lambda: "\\x1a" not in terminal.text, "the line without it")
        terminal.scan("END")
        assert terminal.end() == 0


@pytest.mark.slow
def test_a_view_that_cannot_be_drawn_is_a_sentence_and_the_line_ends(tmp_path: Path) -> None:
    with Fake(tmp_path, "running") as terminal:
        terminal.scan("break")
        assert terminal.end() == 0
        assert terminal.told[1] == "leave '' 0"
        assert "failed 'the screen could not be drawn: TypeError" in terminal.told[2].replace('"', "'")


@pytest.mark.slow
def test_without_colours_the_words_are_the_same(tmp_path: Path) -> None:
    with Fake(tmp_path, "four", NO_COLOR="1") as terminal:
        terminal.until(lambda: terminal.words("1") == ["PASS"], "the verdict")
        assert {cell.fg for row in terminal.screen.buffer.values() for cell in row.values()} == {"default"}
        assert any(cell.reverse for cell in terminal.screen.buffer[1].values())


@pytest.mark.slow
def test_a_small_set_of_colours_on_a_console(tmp_path: Path) -> None:
    with Fake(tmp_path, "four", TERM="linux") as terminal:
        terminal.until(lambda: terminal.words("4") == ["STOP"], "the verdict")
        colours = {cell.fg for row in terminal.screen.buffer.values() for cell in row.values()}
        assert colours >= {"green", "red", "brown"}


@pytest.mark.slow
def test_without_block_characters(tmp_path: Path) -> None:
    with Fake(tmp_path, "stop", PYTHONIOENCODING="ascii", LC_ALL="C", PYTHONUTF8="0") as terminal:
        rows = large(f"{SIGNS['STOP']}STOP", Size(2, 2), ascii_only=True)
        terminal.until(lambda: any(rows[0].strip() in line for line in terminal.lines), "the verdict")
        assert all(line.isascii() for line in terminal.lines)


@pytest.mark.slow
@pytest.mark.parametrize(("keys", "word"), [("stop\r", "STOP"), ("\x1b", "PASS")])
def test_what_others_write_on_the_console_is_gone_with_the_next_verdict_or_escape(
    tmp_path: Path, keys: str, word: str
) -> None:
    with Fake(tmp_path, "pass") as terminal:
        terminal.until(lambda: terminal.words("1") == ["PASS"], "the verdict")
        for row in range(3, 20):
            terminal.screen.cursor_position(row, 5)
            terminal.screen.draw("kernel: PASS for nothing")
        terminal.type(keys)
        terminal.until(lambda: terminal.words("1") == [word] and "kernel" not in terminal.text, "a clean screen")


@pytest.mark.slow
def test_a_terminal_that_grows_is_used(tmp_path: Path) -> None:
    with Fake(tmp_path, "pass") as terminal:
        terminal.screen.resize(45, 160)
        resize(terminal._master, 160, 45)
        terminal.until(lambda: terminal.words("1") == ["PASS"] and terminal.lines[20].strip(), "a larger word")


@pytest.mark.slow
def test_the_bell_rings_at_a_verdict_and_at_a_question(tmp_path: Path) -> None:
    with Fake(tmp_path, "waiting", "bell") as terminal:
        terminal.scan("pass")
        terminal.until(lambda: terminal.written.count(b"\a") == 1, "the bell")
        terminal.scan("question")
        terminal.until(lambda: terminal.written.count(b"\a") == 2, "the bell again")
