"""`benchrig session`: at a prompt on a pseudo-terminal, and from a pipe."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import signal
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from unittest import mock

import pytest
from click.testing import Result
from prompt_toolkit.input import DummyInput

from benchrig.cli import main
from benchrig.cli.prompt import suspend
from tests.cli.calling import call
from tests.cli.kit import COMMAND, PATIENCE, OnTerminal, Terminal
from tests.cli.screen import CTRL_C_AGAIN, Played, attended, mode
from tests.run.kit import DEVICES, device_text

PLAN = """plan: names
caution: The relay switches mains.
device:
  select: {name: VFL-*}
  attributes:
    alarm limit: {uuid: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: sint16, scale: 0.01, unit: °C}
    log stream: {uuid: 6b1d0004-9a53-4c86-8a3e-2f0f6c1d7e40, as: hex}
    factory key: {uuid: 6b1d0006-9a53-4c86-8a3e-2f0f6c1d7e40, as: hex}
steps:
  - scan:
"""
RADIO = f"virtual:{DEVICES}/logger.yaml"
AT = ("-p", "names.yaml", "--radio", RADIO)
ADDRESS = ("-d", "C4:1F:5A:20:00:42")  # nothing else is listened for
CTRL_C, CTRL_D = "\x03", "\x04"
UP = "VFL-0042 connected>"
THERMOMETER = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, notify], value: 21.5 °C, notify: {period: 100 ms}}
"""


def piped(folder: Path, text: str, *options: str) -> subprocess.CompletedProcess[str]:
    """In this process; its standard input is a pipe."""
    (folder / "names.yaml").write_text(PLAN, encoding="utf-8")
    read, write = os.pipe()
    os.write(write, text.encode())
    os.close(write)
    out, err = io.StringIO(), io.StringIO()
    with (
        os.fdopen(read) as lines,
        mock.patch("sys.stdin", lines),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        contextlib.chdir(folder),
        pytest.raises(SystemExit) as end,
    ):
        main(["session", *options, *AT], prog_name="benchrig")
    return subprocess.CompletedProcess([], int(end.value.code or 0), out.getvalue(), err.getvalue())


def on_terminal(folder: Path, *options: str, at: tuple[str, ...] = AT, columns: int = 100, **env: str) -> OnTerminal:
    """The terminal does not answer where its cursor is: the prompt must not wait for that."""
    (folder / "names.yaml").write_text(PLAN, encoding="utf-8")
    state = {"XDG_STATE_HOME": str(folder / "state"), "PROMPT_TOOLKIT_NO_CPR": "1", "NO_COLOR": "1"}
    return OnTerminal(folder, "session", *options, *at, columns=columns, **state, **env)


def press(terminal: Terminal, key: str, *, until: str) -> None:
    """Press a key again and again, as people do: at the prompt it may only clear the line."""
    deadline = time.monotonic() + PATIENCE
    while until not in terminal.shown:
        assert time.monotonic() < deadline, terminal.shown
        terminal.type(key)
        terminal._read(0.3)


def shown_times(terminal: Terminal, text: str, times: int) -> None:
    """Until the text was shown so many times."""
    deadline = time.monotonic() + PATIENCE
    while terminal.shown.count(text) < times:
        assert time.monotonic() < deadline, terminal.shown
        terminal._read(0.1)


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[Result, Played]]:
    """A session in this process: what the prompt shows (of what was typed single words), and what is typed then."""
    (tmp_path / "names.yaml").write_text(PLAN, encoding="utf-8")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)

    def run(
        *script: tuple[str, str], options: Sequence[str] = ADDRESS, at: Sequence[str] = AT, columns: int = 100
    ) -> tuple[Result, Played]:
        done, terminal = attended("session", *options, *at, script=script, columns=columns)
        assert terminal.is_done, f"did not come, only: {terminal.written}"
        return done, terminal

    return run


Typed = Callable[..., tuple[Result, Played]]


def test_verbs_from_a_pipe_run_on_the_virtual_clock(tmp_path: Path) -> None:
    done = piped(tmp_path, "read humidity\nwatch temperature\nwait 2 min\n# done\nunwatch\nquit\nread nothing\n")
    assert done.returncode == 0, done.stderr
    shown = done.stdout.splitlines()
    assert shown[0].startswith("connected to VFL-0042 (C4:1F:5A:20:00:42)")
    assert shown[1] == "humidity: 43.5 %  [FE 10]"
    assert shown[-1].endswith("120 notifications in 120 s, 0.9999 Hz")
    assert done.stderr.startswith("SIMULATED")


@pytest.mark.parametrize(
    ("lines", "code", "said"),
    [
        ("read factory key\nread humidity\n", 1, "read not permitted"),
        ("red humidity\n", 4, "did you mean 'read'"),
        ("write alarm limit 8 °C\n", 2, "nothing was sent"),
        ("connect nobody\n", 1, "not heard"),
    ],
)
def test_the_first_failure_ends_it_with_its_exit_code(lines: str, code: int, said: str, tmp_path: Path) -> None:
    done = piped(tmp_path, lines, "--within", "2 s")
    assert done.returncode == code
    assert said in done.stderr
    assert f"in '{lines.splitlines()[0]}'" in done.stderr
    assert "humidity:" not in done.stdout


def test_one_json_line_for_each_result(tmp_path: Path) -> None:
    done = piped(tmp_path, "read humidity\nwrite alarm limit 8 °C\nread factory key\n", "--json", "--acknowledge")
    results = [json.loads(line) for line in done.stdout.splitlines()]
    assert [result["verb"] for result in results] == ["connect", "read", "write", "read"]
    assert results[2]["written"] == {"raw": "2003", "value": 8, "unit": "°C", "format": "sint16 × 0.01 °C"}
    assert (results[3]["cause"], results[3]["attribute"], done.returncode) == ("device", "factory key", 1)


def test_without_any_line_an_absent_device_is_said(tmp_path: Path) -> None:
    done = piped(tmp_path, "# nothing\n", "-d", "Nix", "--within", "1 s")
    assert (done.returncode, done.stdout) == (1, "")
    assert "was not heard" in done.stderr


@pytest.mark.slow
def test_lines_come_from_a_file_too(tmp_path: Path) -> None:
    (tmp_path / "lines.txt").write_text("read humidity", encoding="utf-8")
    with (tmp_path / "lines.txt").open(encoding="utf-8") as lines:
        done = subprocess.run(
            [*COMMAND, "session", "--radio", RADIO], stdin=lines, capture_output=True, text=True, timeout=PATIENCE
        )
    assert (done.returncode, done.stdout.splitlines()[-1]) == (0, "humidity: 43.5 %  [FE 10]")


@pytest.mark.slow
def test_a_signal_ends_a_piped_session(tmp_path: Path) -> None:
    command = [*COMMAND, "session", "--radio", RADIO, "--real-time"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(command, text=True, **pipes) as process:  # type: ignore[call-overload]
        process.stdin.write("read humidity\nwait 60 s\n")
        process.stdin.flush()
        while "humidity" not in process.stdout.readline():
            pass
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE) == 2


def test_a_session_at_the_prompt_becomes_a_plan_that_passes(typed: Typed, tmp_path: Path) -> None:
    done, terminal = typed(
        (UP, "read batt\t"),
        ("level", "\r"),
        (UP, "write alarm limit 8 °C --read-back\r"),
        ("Type 'yes' to acknowledge", "yes\r"),
        (UP, "read factory key\r"),
        (UP, "wait 60 s\r"),
        ("60 s\r\n", CTRL_C_AGAIN),
        (UP, "read humidity" + CTRL_C),
        (UP, "save made.yaml\r"),
        (UP, CTRL_D),
    )
    assert done.exit_code == 0
    assert "battery level: 97 %  [61]" in done.stdout
    assert "read back alarm limit: 8 °C" in done.stdout
    assert "\nstopped\n" in done.stdout
    assert "The relay switches mains." in terminal.all_written + done.stdout
    assert "read not permitted" in done.stderr
    assert "steps in made.yaml" in done.stdout
    assert "read humidity" not in (tmp_path / "made.yaml").read_text(encoding="utf-8")
    ran = call("run", "made.yaml", "--radio", RADIO, "--acknowledge")
    assert ran.exit_code == 0, ran.stdout
    history = (tmp_path / "state" / "benchrig" / "session_history").read_text(encoding="utf-8")
    assert history.splitlines()[0] == "read battery level"
    assert "yes" not in history


@pytest.mark.slow
def test_notifications_do_not_tear_the_line_and_a_lost_link_shows_in_the_prompt(tmp_path: Path) -> None:
    text = device_text(THERMOMETER, more="faults: {disconnect_after: 2 s}")
    (tmp_path / "device.yaml").write_text(text, encoding="utf-8")
    at = ("-d", "C4:00:00:00:00:01", "--radio", "virtual:device.yaml")
    with on_terminal(tmp_path, at=at, columns=40) as terminal:
        terminal.until("unit 1 connected>")
        terminal.type("watch temperature\r")
        terminal.until("temperature +")
        terminal.type("read tem")
        terminal.until("read tem")
        shown_times(terminal, "temperature +", terminal.shown.count("temperature +") + 3)
        terminal.type("perature\r")
        terminal.until("temperature: 21.5 °C  [66 08]")
        terminal.until("the link to unit 1 was lost")
        terminal.until("unit 1 lost>")
        terminal.type("connect\r")
        shown_times(terminal, "connected to unit 1", 2)
        terminal.type("quit\r")
        assert terminal.end() == 0
    # each is written on a line that was cleared before, and the prompt with what was typed is drawn again after it
    torn = [line for line in terminal.shown.split("\r\n") if "temperature +" in line and "read tem" in line]
    assert all(line.rindex("\x1b[J") < line.index("temperature +") for line in torn)


@pytest.mark.slow
def test_on_a_terminal_ctrl_z_gives_it_to_the_shell_and_back_and_a_signal_too(tmp_path: Path) -> None:
    with on_terminal(tmp_path, *ADDRESS) as terminal:
        before = mode(terminal)
        terminal.until(UP)
        terminal.type("wait 60 s\r")
        terminal.until("wait 60 s")
        assert mode(terminal) != before
        press(terminal, CTRL_C, until="stopped")
        terminal.until(UP)
        assert not re.search(r"\x1b\[[0-9;]*[39][0-7]m", terminal.shown), "NO_COLOR"
        terminal.process.send_signal(signal.SIGTERM)
        assert terminal.end() == 2
        assert mode(terminal) == before


def test_ctrl_z_in_a_running_verb_stops_the_process_in_the_shells_mode(monkeypatch: pytest.MonkeyPatch) -> None:
    did: list[str] = []

    class Source(DummyInput):
        @contextlib.contextmanager
        def cooked_mode(self) -> Iterator[None]:  # type: ignore[override]
            did.append("cooked")
            yield
            did.append("raw")

    monkeypatch.setattr("os.kill", lambda *words: did.append(f"kill {words}"))
    suspend(Source())
    assert did == ["cooked", f"kill {(0, signal.SIGTSTP)}", "raw"]


@pytest.mark.slow
def test_on_a_narrow_terminal_lines_break_between_words(tmp_path: Path) -> None:
    with on_terminal(tmp_path, *ADDRESS, columns=40) as terminal:
        terminal.until(UP)
        terminal.type("help write\r")
        terminal.until("little|big")
        terminal.type("write alarm limit 8 °C\r")
        terminal.until("to stop:")
        terminal.type("no\r" + CTRL_D)
        assert terminal.end() == 0
    lines = [line.rstrip() for line in terminal.shown.splitlines()]
    assert "CAUTION  This writes 8 °C to 'alarm" in lines
    assert max(len(line) for line in lines if "--" in line) <= 40


def test_typed_ahead_acknowledges_nothing(typed: Typed) -> None:
    asked = ("Type 'yes'", "y\r"), ("Type 'yes'", "no\r")
    done, terminal = typed((UP, "write alarm limit 8 °C\ryes\r"), *asked, (UP, CTRL_D))
    assert "type 'yes' in full" in terminal.all_written + done.stdout
    assert "was not acknowledged" in done.stderr
    assert "wrote" not in done.stdout


HOSTILE = """services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: device name, properties: [read], value: "\\e[2J\\e]0;mine\\a\\r\\n"}
      - {characteristic: serial number, properties: [read], value: x, on_read: {silent: true}}
"""


@pytest.mark.slow
@pytest.mark.parametrize("term", ["xterm", "dumb"])
def test_nothing_that_a_device_says_steers_the_terminal(term: str, tmp_path: Path) -> None:
    (tmp_path / "device.yaml").write_text(device_text(HOSTILE, name='"\\e[5mx\\n"'), encoding="utf-8")
    at = ("-d", "C4:00:00:00:00:01", "--radio", "virtual:device.yaml")
    with on_terminal(tmp_path, at=at, TERM=term) as terminal:
        terminal.until(r"\x1b[5mx\n connected>")
        terminal.type("read device name[1]\r")
        terminal.until(r"device name[1]: \x1b[2J\x1b]0;mine\x07\r\n")
        terminal.type("disconnect\r")
        terminal.until("disconnected from")
        terminal.type("scan --for 1 s\r")
        terminal.until("1 device in 1 s")
        terminal.type("quit\r")
        assert terminal.end() == 0
    assert "\x1b[2J" not in terminal.shown
    assert "\x1b[5m" not in terminal.shown
    assert "\x1b]0" not in terminal.shown


def test_a_request_that_was_stopped_unanswered_costs_the_link(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "device.yaml").write_text(device_text(HOSTILE), encoding="utf-8")
    done, _ = typed(
        ("unit 1 connected>", "read serial number\r"),
        ("number\r\n", CTRL_C_AGAIN),
        ("unit 1 lost>", "connect\r"),
        ("unit 1 connected>", CTRL_D),
        options=(),
        at=("-d", "C4:00:00:00:00:01", "--radio", "virtual:device.yaml"),
    )
    assert done.exit_code == 0
    assert "given up with the request" in done.output
    assert done.stdout.count("connected to unit 1") == 2


def test_lines_that_are_pasted_are_done_up_to_the_first_failure(typed: Typed) -> None:
    pasted = "\x1b[200~read humidity\nred humidity\nread battery level\n\x1b[201~\r"
    done, _ = typed((UP, pasted), (UP, CTRL_D))
    assert done.exit_code == 0
    assert "humidity: 43.5 %" in done.stdout
    assert "no verb 'red'" in done.stderr
    assert "battery level: " not in done.stdout


@pytest.mark.slow
def test_a_terminal_that_is_closed_ends_the_session(tmp_path: Path) -> None:
    with on_terminal(tmp_path, *ADDRESS) as terminal:
        terminal.until(UP)
        terminal.type("watch temperature\r")
        terminal.until("watching")
        os.dup2(os.open(os.devnull, os.O_RDWR), terminal.master)
        terminal.process.wait(PATIENCE)


def test_values_that_do_not_fit_end_a_session_from_a_pipe_with_1(tmp_path: Path) -> None:
    done = piped(tmp_path, "read temperature --as uint8\nread battery level\n", "--json", *ADDRESS)
    assert done.returncode == 1
    *_, misfit, good, failure = map(json.loads, done.stdout.splitlines())
    assert misfit["content"]["wrong"].startswith("a uint8 has 1 byte")
    assert good["content"]["value"] == 97, "the lines after it are done all the same"
    assert (failure["error"], failure["cause"]) == ("values did not fit their format: 1 of temperature", "device")
