"""A console on a wire and commands for the power, as a station file or the command line names them."""

from __future__ import annotations

import asyncio
import os
import pty
import sys
import tty
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchrig.cli import main
from benchrig.console.choice import ConsoleChoice
from benchrig.console.log import Keeping
from benchrig.errors import PlanError, UsageError
from benchrig.radio.radio import Radio
from benchrig.station.station import load_station
from benchrig.station.wiring import Opener, Wiring
from tests.radio.running import Outcome, run_plan

HEAD = "plan: a\ndevice: {select: {name: none}}\nsteps:\n"
ASKS = "  - console:\n    send: status\n    until: {line: {matches: 'ok (?P<volts>.*)'}}\n    within: 2 s\n"
WAITS = "  - console:\n    until: {line: {matches: never}}\n    within: 10 s\n"


def wired(folder: Path, **keys: object) -> Opener:
    """What opens a radio without devices, at a station with these keys."""
    file = folder / "station.yaml"
    file.write_text("station: bench 1\n" + "".join(f"{key}: {value}\n" for key, value in keys.items()), "utf-8")
    began = asyncio.get_running_loop().time()

    async def opened() -> Radio:
        return Radio("none")

    return load_station(file).wiring().around(opened, lambda: Keeping(folder, began))


class Board:
    """The other end of a serial line: answers what it is sent."""

    def __init__(self, answer: bytes) -> None:
        self.ours, theirs = pty.openpty()
        tty.setraw(theirs)
        self.path, self._theirs, self._answer = os.ttyname(theirs), theirs, answer
        self.got = b""
        asyncio.get_running_loop().add_reader(self.ours, self._read)

    def _read(self) -> None:
        try:
            data = os.read(self.ours, 4096)
        except OSError:
            data = b""
        self.got += data
        if data.endswith(b"\n"):
            os.write(self.ours, self._answer)

    def unplug(self) -> None:
        if self.ours >= 0:
            asyncio.get_running_loop().remove_reader(self.ours)
            os.close(self.ours)
            os.close(self._theirs)
            self.ours = -1


async def test_a_serial_line(tmp_path: Path) -> None:
    board = Board(b"\x00\xff\x1b[2J\r\nok 3.1 V\r\n")
    steps = ASKS + "    expect: {volts: {max: 3.3 V}, count: {equals: 2}}\n"
    done: Outcome = await run_plan(HEAD + steps, wired(tmp_path, console=f"serial:{board.path},115200"), tmp_path)
    board.unplug()
    assert done.ended.exit_code == 0, done.ended.message
    assert board.got == b"status\n"
    assert f"console: serial:{board.path},115200" in done.notes
    kept = (tmp_path / "console.log").read_text()
    assert [line.split(maxsplit=1)[1] for line in kept.splitlines()] == ["> status", "\\x00\\xff\\x1b[2J", "ok 3.1 V"]


@pytest.mark.parametrize("kind", ["serial", "tcp"])
async def test_a_line_that_is_unplugged_is_the_stations_trouble(tmp_path: Path, kind: str) -> None:
    board = Board(b"")
    server = await asyncio.start_server(lambda reader, writer: writer.close(), "127.0.0.1", 0)
    place = f"serial:{board.path}" if kind == "serial" else f"tcp:127.0.0.1:{server.sockets[0].getsockname()[1]}"

    def during(event: object, runner: object) -> None:
        if type(event).__name__ == "Opened" and kind == "serial":
            board.unplug()

    done = await run_plan(HEAD + WAITS, wired(tmp_path, console=place), tmp_path, during=during)
    server.close()
    board.unplug()
    assert (done.ended.verdict, done.ended.cause, done.ended.exit_code) == ("error", "station", 7)
    assert done.ended.message.startswith(f"the console {place}")
    assert "is gone: " in done.ended.message


async def test_a_server_of_a_console(tmp_path: Path) -> None:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b"ok 3.4 V\n")
        await reader.read()
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    place = f"tcp:127.0.0.1:{server.sockets[0].getsockname()[1]}"
    steps = ASKS + "    expect: {volts: {max: 3.3 V}}\n"
    done = await run_plan(HEAD + steps, wired(tmp_path, console=place), tmp_path)
    server.close()
    assert (done.ended.verdict, done.ended.cause) == ("fail", "limit")
    assert done.ended.message == "3.4 V is above the maximum 3.3 V by 0.1 V"


@pytest.mark.parametrize("place", ["serial:/dev/no-such-port", "tcp:127.0.0.1:9"])
async def test_a_console_that_is_not_there_ends_the_run_before_its_first_step(tmp_path: Path, place: str) -> None:
    done = await run_plan(HEAD + WAITS, wired(tmp_path, console=place), tmp_path)
    assert (done.ended.cause, done.verdicts) == ("station", ["skip"])
    why = "No such file or directory" if place.startswith("serial") else "Connect"
    assert f"cannot be opened: {why}" in done.ended.message


# --- power

HUB = "  - console:\n    until: {line: {matches: 'boot 1'}}\n  - power: cycle\n    for: 10 ms\n    within: 1 s\n"
HUB += "  - console:\n    name: again\n    until: {line: {matches: 'boot 2'}}\n    within: 3 s\n"


class Hub:
    """Powers a board together with the serial line that it brings."""

    def __init__(self, path: Path, boards: int) -> None:
        self.path, self.boards, self.board = path, boards, None
        self._plug()

    def _plug(self) -> None:
        self.board, self.boards = Board(b""), self.boards - 1
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(self.board.path)

    async def down(self, within: float) -> None:
        assert self.board is not None
        self.board.unplug()
        self.path.unlink()
        await asyncio.sleep(0.1)

    async def up(self, within: float) -> bool:
        if self.boards:
            self._plug()
            asyncio.get_running_loop().call_later(0.3, self.say, "boot 2")
        return True

    def say(self, text: str) -> None:
        assert self.board is not None
        os.write(self.board.ours, f"{text}\n".encode())


@pytest.mark.parametrize("boards", [2, pytest.param(1, marks=pytest.mark.slow)])
async def test_a_console_that_goes_and_comes_with_the_power(tmp_path: Path, boards: int) -> None:
    hub = Hub(tmp_path / "tty", boards)
    began = asyncio.get_running_loop().time()

    async def opened() -> Radio:
        asyncio.get_running_loop().call_later(0.3, hub.say, "boot 1")
        return Radio("none")

    wiring = Wiring(ConsoleChoice.parse(f"serial:{hub.path}"), hub)
    done = await run_plan(HEAD + HUB, wiring.around(opened, lambda: Keeping(tmp_path, began)), tmp_path)
    assert hub.board is not None
    hub.board.unplug()
    if boards == 2:
        assert done.ended.exit_code == 0, done.ended.message
    else:
        assert (done.ended.verdict, done.ended.cause) == ("error", "station")
        assert "cannot be opened" in done.ended.message


SCRIPT = "import pathlib, sys; pathlib.Path(sys.argv[1]).open('a').write(sys.argv[2]); sys.exit(int(sys.argv[3]))"


def commands(folder: Path, down: int = 0, up: int = 0) -> str:
    (folder / "relay.py").write_text(SCRIPT, "utf-8")
    words = [f"[{sys.executable}, {folder}/relay.py, {folder}/said, {word}, '{code}']"
             for word, code in (("down", down), ("up", up))]  # fmt: skip
    return f"{{down: {words[0]}, up: {words[1]}}}"


async def test_a_power_cycle_by_commands(tmp_path: Path) -> None:
    steps = "  - power: cycle\n    for: 10 ms\n    expect: {elapsed: {max: 20 s}}\n"
    done = await run_plan(HEAD + steps, wired(tmp_path, power=commands(tmp_path)), tmp_path)
    assert done.ended.exit_code == 0, done.ended.message
    assert (tmp_path / "said").read_text() == "downup"
    assert any(note.startswith("power: ") for note in done.notes)


@pytest.mark.parametrize(("down", "up", "said"), [(3, 0, "down"), (0, 3, "downup")])
async def test_a_switch_that_fails_is_the_stations_trouble(tmp_path: Path, down: int, up: int, said: str) -> None:
    done = await run_plan(
        HEAD + "  - power: cycle\n    for: 10 ms\n", wired(tmp_path, power=commands(tmp_path, down, up)), tmp_path
    )
    assert (done.ended.verdict, done.ended.cause, done.ended.exit_code) == ("error", "station", 7)
    assert done.ended.message == f"the power cannot be switched: {sys.executable} ended with exit code 3"
    assert (tmp_path / "said").read_text() == said


# --- what is written


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("serial:/dev/ttyUSB0", ("serial", "/dev/ttyUSB0", 115200)),
        ("serial:COM3,9600", ("serial", "COM3", 9600)),
        ("tcp:[::1]:4000", ("tcp", "::1", 4000)),
        ("tcp:board.local:4000", ("tcp", "board.local", 4000)),
    ],
)
def test_where_a_console_is(text: str, made: tuple[str, str, int]) -> None:
    choice = ConsoleChoice.parse(text)
    assert (choice.kind, choice.place, choice.number) == made
    assert ConsoleChoice.parse(str(choice)) == choice


@pytest.mark.parametrize(
    "text", ["", "serial:", "/dev/ttyUSB0", "tcp:host", "tcp:host:0", "tcp:host:70000", "serial:a,b", "pty:x"]
)
def test_where_no_console_is(text: str) -> None:
    with pytest.raises(UsageError, match="names no console"):
        ConsoleChoice.parse(text)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("console: ttyUSB0", "'ttyUSB0' names no console"),
        ("power: {down: [a]}", "'up' is missing"),
        ("power: {down: [], up: [a]}", "a command needs a program"),
        ("power: {down: [a], up: [a], cycle: [b]}", "unknown key 'cycle'"),
    ],
)
def test_mistakes_of_a_station_file(tmp_path: Path, keys: str, message: str) -> None:
    file = tmp_path / "station.yaml"
    file.write_text(f"station: a\n{keys}\n", "utf-8")
    with pytest.raises(PlanError, match=message):
        load_station(file)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("", ["the station names no console: 'console' cannot run there without --console",
              "the station names no power: 'power cycle' cannot run there"]),
        ("console: serial:/dev/ttyS9\npower: {down: [a], up: [b]}\n", []),
        ("radio: virtual\n", []),
    ],
)  # fmt: skip
def test_check_says_what_the_station_does_not_name(tmp_path: Path, keys: str, told: list[str]) -> None:
    plan, station = tmp_path / "plan.yaml", tmp_path / "station.yaml"
    plan.write_text(HEAD + "  - console:\n  - power: cycle\n", "utf-8")
    station.write_text(f"station: a\n{keys}", "utf-8")
    kind = ["--radio", "virtual"] if "virtual" in keys else []
    ran = CliRunner().invoke(main, ["check", str(plan), "--station", str(station), *kind])
    assert ran.exit_code == 0, ran.output
    assert [line.partition(": ")[2] for line in ran.output.splitlines()[1:]] == told
