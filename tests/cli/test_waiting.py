"""The line that says what a command waits for."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.desk.desk import Desk, DeskOptions
from benchrig.desk.inspecting import inspect
from benchrig.desk.running import run_desk
from benchrig.radio.scan import Selection
from benchrig.radio.specify import RadioChoice
from tests.cli.calling import call
from tests.cli.kit import OnTerminal
from tests.desk.kit import at_desk
from tests.run.kit import DEVICES

LOGGER = DEVICES / "logger.yaml"
ABSENT = ("-d", "nobody", "--within", "400 ms", "--real-time", "--radio", f"virtual:{LOGGER}")
SCAN = ("scan", "--for", "400 ms")


def test_each_wait_has_its_words_and_its_end() -> None:
    said: list[str] = []

    async def work(desk: Desk) -> None:
        _, link = await desk.reach()
        await desk.read(link, "temperature")

    options = DeskOptions(RadioChoice("virtual", files=(LOGGER,)), Selection(name="VFL-*"))
    run_desk(options, work, print, said.append)
    assert said == ["looking for VFL-*", "", "connecting to VFL-0042", "", "reading temperature", ""]


def test_an_inspection_says_what_it_reads() -> None:
    said: list[str] = []

    async def work(desk: Desk) -> None:
        desk.doing = said.append
        await inspect(desk)

    at_desk(work, LOGGER)
    assert "reading battery level" in said
    assert said[-1] == ""


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("read", "temperature"),
        *(
            pytest.param(words, marks=pytest.mark.slow)
            for words in (("session",), ("inspect",), ("draft", "-o", "x"), SCAN)
        ),
    ],
)
def test_on_a_terminal_it_is_shown_and_erased(tmp_path: Path, words: tuple[str, ...]) -> None:
    with OnTerminal(tmp_path, *words, *ABSENT) as terminal:
        terminal.until("listening for 0.4 s" if words == SCAN else "looking for nobody")
        if words[0] == "session":
            terminal.until("not connected>")
            terminal.type("quit\r")
        assert terminal.end() in (0, 1, 5)
    assert terminal.shown.rindex("\x1b[?25h") > terminal.shown.rindex("\x1b[?25l"), "the cursor is back"
    assert "\x1b[2K" in terminal.shown


@pytest.mark.slow
@pytest.mark.parametrize("env", [{"CI": "true"}, {"TERM": "dumb"}])
def test_in_ci_and_where_no_line_can_be_erased_nothing_is_shown(tmp_path: Path, env: dict[str, str]) -> None:
    with OnTerminal(tmp_path, "read", "temperature", *ABSENT, **env) as terminal:
        assert terminal.end() == 1
    assert "looking for" not in terminal.shown
    assert "\x1b" not in terminal.shown


@pytest.mark.slow
def test_a_terminal_that_knows_ascii_only(tmp_path: Path) -> None:
    with OnTerminal(tmp_path, "read", "temperature", *ABSENT, PYTHONIOENCODING="ascii", PYTHONUTF8="0") as terminal:
        assert terminal.end() == 1
    assert terminal.shown.isascii()
    assert "looking for nobody" in terminal.shown


def test_a_pipe_gets_none_of_it() -> None:
    done = call("read", "humidity", "--radio", f"virtual:{LOGGER}")
    assert (done.exit_code, done.stdout) == (0, "humidity: 43.5 %  [FE 10]\n")
    assert done.stderr.splitlines() == ["SIMULATED this runs on a virtual radio"]
