"""`benchrig watch`."""

from __future__ import annotations

import json
import re
import signal
import subprocess
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from benchrig.cli import main
from benchrig.cli.watch_text import event_line, summary
from benchrig.cli.watch_view import WatchView
from benchrig.desk.series import Channel
from benchrig.desk.watching import Hole, LinkLoss
from benchrig.values.format import FieldSpec, FormatSpec, build_format
from benchrig.values.spec import Exact
from tests.cli.kit import COMMAND, PATIENCE, OnTerminal, environment
from tests.cli.screen import Emulated, attended, mode
from tests.run.kit import DEVICES, PLANS, device_text

RADIO = f"virtual:{DEVICES}/logger.yaml"
CTRL_C = "\x03"
SENDING = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [notify], value: {sequence: [20 °C, 22 °C]}, notify: {period: 100 ms}}
      - {characteristic: pressure, properties: [notify], value: 101325 Pa}
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: 6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40
        as: utf8
        properties: [notify]
        raw: '1B 5B 32 4A 07 C2 9B 41 E2 80 AE'
        notify: {period: 100 ms}
"""
NOTE = "6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40"


def watched(*arguments: str, radio: str = RADIO) -> Result:
    return CliRunner().invoke(main, ["watch", *arguments, "--radio", radio])


def sending(folder: Path, more: str = "") -> str:
    (folder / "device.yaml").write_text(device_text(SENDING, more=more), encoding="utf-8")
    return f"virtual:{folder}/device.yaml"


# --- in a pipe


def test_one_line_a_value(tmp_path: Path) -> None:
    done = watched("temperature", "--count", "2", radio=sending(tmp_path))
    assert done.exit_code == 0
    first, second = done.stdout.splitlines()
    assert first.endswith(" s  temperature: 20 °C  [D0 07]")
    assert second.endswith(" s  temperature: 22 °C  [98 08]")
    assert "temperature: 2 values in 0.2 s" in done.stderr
    assert "  20 to 22 °C, mean 21 °C" in done.stderr


def test_the_fields_of_a_structure_on_one_line() -> None:
    done = watched("log stream", "--count", "1", "-p", str(PLANS / "end_of_line.yaml"))
    assert re.search(r"log stream: number 0, temperature 21\.\d+ °C, supply 2985 mV  \[00 00 ", done.stdout)


@pytest.mark.slow
def test_what_a_counter_shows_is_summed_up() -> None:
    done = watched("log stream", "--counter", "number", "--count", "3", "-p", str(PLANS / "end_of_line.yaml"))
    assert "0 lost, 0 duplicated" in done.stderr
    wrong = watched("log stream", "--counter", "nummer", "-p", str(PLANS / "end_of_line.yaml"))
    assert (wrong.exit_code, "no field 'nummer' to count by" in wrong.stderr) == (4, True)


def test_one_document_a_value() -> None:
    done = watched("temperature", "battery level", "--for", "3s", "--json")
    values = [json.loads(line) for line in done.stdout.splitlines()]
    assert {each["attribute"] for each in values} == {"temperature", "battery level"}
    seconds = [each["seconds"] for each in values]
    assert seconds == sorted(seconds)
    assert values[0]["content"]["unit"] in ("°C", "%"), "in the shape that a read has"


def test_a_format_of_ones_own() -> None:
    own = "6b1d0004-9a53-4c86-8a3e-2f0f6c1d7e40"
    done = watched(own, "--as", "uint16", "--count", "1")
    assert (done.exit_code, done.stdout) == (1, "")
    assert re.search(r"a uint16 has 2 bytes, found 6 bytes: [0-9A-F ]+  \[00 00 [0-9A-F ]+\]", done.stderr)
    assert "1 malformed" in done.stderr
    assert f"values did not fit their format: 1 of 1 of {own}" in done.stderr


def test_what_sends_nothing_by_itself_is_said() -> None:
    done = watched("humidity", "--count", "1")
    assert (done.exit_code, done.stdout) == (1, "")
    assert "humidity does not offer notify or indicate; its properties: read" in done.stderr


def test_nothing_came(tmp_path: Path) -> None:
    done = watched("pressure", "--for", "2s", radio=sending(tmp_path))
    assert (done.exit_code, done.stdout) == (5, "")
    assert "nothing arrived" in done.stderr


def test_a_lost_link_is_a_failure_and_with_reconnect_a_hole(tmp_path: Path) -> None:
    radio = sending(tmp_path, "faults: {disconnect_after: 2 s}")
    done = watched("temperature", "--for", "4s", radio=radio)
    assert done.exit_code == 1
    assert "the link was lost after" in done.stderr
    assert "add --reconnect to look for the device again" in done.stderr
    again = watched("temperature", "--for", "3s", "--reconnect", radio=radio)
    assert again.exit_code == 0
    assert re.search(r"longest gap while connected 0\.1\d\d s\n", again.stderr)
    assert re.search(r"link lost once, \d\.\d{3} s without data\n", again.stderr)
    assert re.search(r"link lost: remote user terminated connection\n +[\d.]+ s  link back: nothing", again.stdout)


def test_a_device_that_is_gone_at_the_end_is_a_failure(tmp_path: Path) -> None:
    gone = "faults: {disconnect_after: 2 s, stop_advertising_after: 2500 ms}"
    done = watched("temperature", "--for", "1 min", "--reconnect", "--within", "5s", radio=sending(tmp_path, gone))
    assert done.exit_code == 1
    assert re.search(r"link lost once, 5[78]\.\d{3} s without data; the device did not come back", done.stderr)
    assert re.search(r"the device was lost after [12]\.\d{3} s and did not come back in 5[78]\.\d{3} s", done.stderr)
    assert done.stdout.splitlines()[-1].endswith("to 60.000 s")


def test_holes_are_counted_summed_up_and_the_longest_named() -> None:
    watch = still(temperature(20, 21), holes=[Hole(1.0, 3.5), Hole(6.0, 7.0)])
    assert summary(watch)[-1] == "link lost 2 times, 3.500 s without data, at the longest 2.500 s"


def test_it_is_saved_too_but_nothing_is_written_over(tmp_path: Path) -> None:
    path = str(tmp_path / "w.csv")
    first = watched("temperature", "--count", "2", "--save", path)
    assert first.exit_code == 0
    assert f"kept in {path}" in first.stderr
    before = Path(path).read_text(encoding="utf-8")
    assert len(before.splitlines()) == 3
    done = watched("temperature", "--count", "2", "--save", path)
    assert (done.exit_code, Path(path).read_text(encoding="utf-8")) == (4, before)


def test_what_a_device_sends_cannot_steer_a_terminal(tmp_path: Path) -> None:
    done = watched(NOTE, "--as", "utf8", "--count", "1", radio=sending(tmp_path))
    assert all(line.isprintable() for line in done.stdout.splitlines())
    assert rf"{NOTE}: \x1b[2J\x07\x9bA\u202e  [1B 5B" in done.stdout


@pytest.mark.slow
def test_ctrl_c_interrupts_a_watch_that_has_an_end_of_its_own(tmp_path: Path) -> None:
    command = [*COMMAND, "watch", "temperature", "--for", "1h", "--real-time", "--radio", sending(tmp_path), "--json"]
    with subprocess.Popen(
        command, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert json.loads(process.stdout.readline())["content"]["value"] == 20
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=PATIENCE)
    assert process.returncode == 2
    assert "Traceback" not in errors
    assert "temperature: " in errors


# --- the live view

NOW = 10.0


def still(*watched: Channel, connected: bool = True, holes: Sequence[Hole] = ()) -> Any:
    """A watch that stands still at NOW."""
    return SimpleNamespace(watched=[*watched], unit="unit 1", is_connected=connected, seconds=NOW, holes=[*holes])


def temperature(*values: float) -> Channel:
    form = build_format(FormatSpec(as_="sint16", scale=Exact("0.01"), unit="°C"))
    one = Channel("temperature", form)
    for number, value in enumerate(values):
        one.take(NOW - len(values) + number + 0.5, form.encode(value))
    return one


def motion() -> Channel:
    fields = [FieldSpec(name="steps", as_="uint8"), FieldSpec(name="mode", as_="uint8", words={0: "idle"}), FieldSpec(name="load", as_="uint8", unit="%")]  # fmt: skip
    one = Channel("motion", build_format(FormatSpec(fields=fields)))
    one.take(1.0, bytes((3, 0, 50)))
    one.take(2.0, bytes((4, 0, 60)))
    return one


def shown(view: WatchView, width: int = 120, height: int = 24) -> list[str]:
    lines = view.lines(width, height)
    assert len(lines) == height
    return ["".join(text for text, _ in line).rstrip() for line in lines]


def test_a_row_a_value_with_its_statistics_and_a_chart() -> None:
    lines = shown(WatchView(still(temperature(20, 21, 22)), "a radio"))
    assert lines[0] == "unit 1  a radio  connected  10.0 s"
    assert lines[2].split() == [
        ">", "temperature", "22", "°C", "1", "1.0", "s", "1.0", "s", "20", "21", "22", "3",
    ]  # fmt: skip
    assert lines[4] == "temperature, °C, the last 21.6 s"
    assert lines[5].startswith("         22 ")
    assert lines[5].endswith("█")
    assert lines[14].split()[0] == "20"


def test_a_row_a_field_and_the_chart_of_the_chosen_one() -> None:
    view = WatchView(still(motion()), "a radio")
    names = [line[:12].rstrip() for line in shown(view)[2:6]]
    assert names == ["  motion", ">   steps", "    mode", "    load"]
    assert view.press("down")
    assert "motion, load, %" in shown(view)[7], "a word cannot be drawn"
    assert view.press("down")
    assert "motion, steps" in shown(view)[7]


def test_the_value_that_never_changes_is_written_once() -> None:
    lines = shown(WatchView(still(temperature(20, 20)), "a radio"))
    assert [line.split()[0] for line in lines[5:15] if line[:11].strip()] == ["20"]


def test_what_is_malformed_is_said_in_place_of_the_value_on_a_narrow_screen_too() -> None:
    one = temperature(20)
    view = WatchView(still(one), "a radio")
    assert "malformed" not in shown(view)[1]
    one.take(9.0, b"\x01")
    heading, row = shown(view, width=44)[1:3]
    assert heading.split() == ["attribute", "value", "malformed"]
    assert row.split() == [">", "temperature", "malformed", "1"]
    one.take(9.5, b"\xd0\x07")
    assert shown(view)[2].split()[2:4] == ["20", "°C"]


def test_the_head_says_how_long_nothing_was_heard() -> None:
    [head, *_] = shown(WatchView(still(temperature(20), holes=[Hole(1.0, 2.0)]), "a radio"))
    assert head.endswith("  connected  10.0 s  lost once, 1.0 s without link")


def test_the_head_says_what_is_being_waited_for() -> None:
    view = WatchView(still(temperature(20), connected=False), "a radio")
    view.wait("looking for unit 1")
    assert "  no link  looking for unit 1  10.0 s" in shown(view)[0]
    view.wait("")
    assert "  no link  10.0 s" in shown(view)[0]


def test_the_time_of_the_chart_is_changed_by_keys() -> None:
    view = WatchView(still(temperature(20, 21)), "a radio")
    assert view.press("-")
    assert "the last 54 s" in shown(view)[4]
    for _ in range(9):
        assert view.press("+")
    assert "the last 10.8 s" in shown(view)[4]


def test_the_view_can_be_held() -> None:
    watch = still(temperature(20, 21))
    view = WatchView(watch, "a radio")
    assert view.press("h")
    before = shown(view)
    assert before[0].endswith("HELD")
    watch.watched[0].take(NOW, b"\x00\x00")
    assert shown(view) == before
    assert view.press("h")
    assert shown(view)[2].split()[2] == "0"


def test_the_lost_link_and_malformed_values_are_noted() -> None:
    one = temperature(20)
    view = WatchView(still(one, connected=False), "a radio")
    view.take(one.take(9.0, b"\x01"))
    view.take(LinkLoss(9.5, "supervision\x1btime-out"))
    lines = shown(view)
    assert "no link" in lines[0]
    assert "sint16 has 2 bytes" in lines[-3]
    assert lines[-2] == r"9.500 s  link lost: supervision\x1btime-out"
    assert lines[2].split()[-1] == "1", "malformed values are counted"


@pytest.mark.parametrize("ascii_only", [True, False])
def test_any_size_can_be_drawn(ascii_only: bool) -> None:
    for height in range(2, 16):
        for width in (1, 12, 40, 200):
            view = WatchView(still(temperature(20, 21), motion()), "a radio", ascii_only=ascii_only)
            view.note("a note")
            shown(view, width, height)


def test_without_a_format_the_bytes_are_in_the_row() -> None:
    plain = Channel("command")
    plain.take(1.0, b"\x81\x00")
    assert "81 00" in shown(WatchView(still(plain), "a radio"))[2]


def test_lines_of_text() -> None:
    one = temperature(20)
    watch = still(one)
    assert event_line(one.take(9.0, b"\x98\x08")) == "     9.000 s  temperature: 22 °C  [98 08]"
    assert "no link: nothing could be heard from 1.000 s to 2.500 s" in event_line(Hole(1.0, 2.5, back=False))
    assert summary(watch)[1] == "  20 to 22 °C, mean 21 °C"


def on_terminal(folder: Path, *more: str, columns: int = 100, **env: str) -> OnTerminal:
    words = ("watch", "temperature", NOTE, "--radio", sending(folder), *more)
    return OnTerminal(folder, *words, columns=columns, **env)


@pytest.mark.slow
def test_on_a_terminal_it_is_live_and_a_key_ends_it(tmp_path: Path) -> None:
    script = [("unit 1", ""), ("█", "q")]  # the first value may be there before the second attribute is subscribed to
    done, terminal = attended("watch", "temperature", NOTE, "--radio", sending(tmp_path), script=script)
    assert done.exit_code == 0
    shown = terminal.seen[-1]
    assert "unit 1  virtual:" in shown.splitlines()[0]
    assert "SIMULATED  connected" in shown.splitlines()[0]
    assert "temperature, °C, the last" in shown
    assert not terminal.screen.alternate
    assert "°C, mean" in done.stderr


@pytest.mark.slow
def test_ctrl_c_ends_a_live_watch_that_has_no_end_and_interrupts_one_that_has(tmp_path: Path) -> None:
    radio = sending(tmp_path)
    for more, code in (((), 0), (("--for", "1h"), 2)):
        done, terminal = attended("watch", "temperature", "--radio", radio, *more, script=[("█", CTRL_C)])
        assert (done.exit_code, terminal.screen.alternate) == (code, False)


@pytest.mark.slow
def test_a_narrow_terminal_that_knows_ascii_only_and_ctrl_c(tmp_path: Path) -> None:
    with on_terminal(tmp_path, columns=40, NO_COLOR="1", PYTHONIOENCODING="ascii", PYTHONUTF8="0") as terminal:
        terminal.until("the last")
        terminal.until("#")
        screen = Emulated(40).feed(terminal.shown)
        assert screen.text.isascii()
        assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", terminal.shown)
        while_shown = mode(terminal)
        terminal.type(CTRL_C)
        assert terminal.end() == 0
        assert mode(terminal) != while_shown
    assert "Traceback" not in terminal.shown


def test_an_absent_device_on_a_terminal(tmp_path: Path) -> None:
    words = ("watch", "temperature", "--radio", sending(tmp_path), "-d", "nobody", "--within", "300 ms")
    done, terminal = attended(*words, script=[("looking for ", "")])
    assert (done.exit_code, len(terminal.seen)) == (1, 1)
    assert "not heard" in done.stderr


@pytest.mark.slow
def test_a_hole_on_a_terminal(tmp_path: Path) -> None:
    radio = sending(tmp_path, "faults: {disconnect_after: 8 s}")
    # the second connection lasts as long: the key is pressed well within it
    with OnTerminal(tmp_path, "watch", "temperature", "--reconnect", "--radio", radio) as terminal:
        terminal.until("link lost: remote user terminated connection")
        terminal.until("no link")
        terminal.until("link back: nothing could be heard from")
        terminal.type("q")
        assert terminal.end() == 0
    Emulated(100).feed(terminal.shown)


def test_the_mark_moves_while_the_picture_is_held() -> None:
    watch = still(motion())
    view = WatchView(watch, "a radio")
    marked = [line.split()[1] for line in shown(view) if line.startswith(">")]
    assert view.press("h")
    assert view.press("down")
    watch.watched[0].take(NOW, bytes((99, 0, 99)))
    held = shown(view)
    moved = [line.split()[1] for line in held if line.startswith(">")]
    assert marked != moved
    assert not any("99" in line for line in held)
    assert any(line.startswith(f"motion, {moved[0]}") for line in held)
