"""`benchrig scan`."""

from __future__ import annotations

import io
import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st
from prompt_toolkit.data_structures import Size
from prompt_toolkit.output.vt100 import Vt100_Output

from benchrig.cli import main
from benchrig.cli.scan_table import level_bar, report_line
from benchrig.cli.scan_view import DETAIL_KEYS, LIST_KEYS, ScanView
from benchrig.desk.airlist import AirList, report_as_data
from benchrig.radio.scan import Report, Selection
from benchrig.steps.attribute import Names
from benchrig.terminal.live import Screen
from benchrig.text.columns import Column, fitting, in_cells, laid_out, natural
from benchrig.text.durations import seconds_text
from tests.cli.kit import PATIENCE, OnTerminal
from tests.cli.screen import GROW, Emulated, attended, mode
from tests.record.strategies import device_text
from tests.run.kit import DEVICES

LOGGER, SENSOR = DEVICES / "logger.yaml", DEVICES / "sensor.yaml"
RADIO = f"virtual:{LOGGER},{SENSOR}"

A, B, C = Column("a", 4, 1, most=10), Column("b", 3, 3, right=True), Column("c", 5, 2)


def test_what_matters_least_is_left_out_first() -> None:
    assert [column.heading for column, _ in fitting([A, B, C], 40, [])] == ["a", "b", "c"]
    assert [column.heading for column, _ in fitting([A, B, C], 15, [])] == ["a", "c"]
    assert fitting([A, B, C], 4, []) == [(A, 4)]


def test_the_room_that_is_left_goes_to_what_can_use_it() -> None:
    long, short = ["x" * 30, "", ""], ["x" * 5, "", ""]
    assert fitting([A, B, C], 18, [short, long]) == [(A, 6), (B, 3), (C, 5)]
    assert fitting([A, B, C], 80, [long])[0] == (A, 10)
    assert fitting([A, B, C], 80, [short])[0] == (A, 5)


def test_what_lacks_the_least_is_whole_before_others_grow() -> None:
    wide, narrow = Column("a", 4, 1, most=40), Column("b", 4, 2, most=40)
    assert fitting([wide, narrow], 20, [["x" * 40, "x" * 6]]) == [(wide, 12), (narrow, 6)]


def test_a_table_that_is_printed_once_wastes_no_room() -> None:
    wide, narrow = Column("a", 9, 1), Column("b", 4, 2, most=40)
    row = ["xx", "y" * 14]
    assert fitting([wide, narrow], 18, [row], tight=True) == [(wide, 2), (narrow, 14)]
    assert fitting([wide, narrow], 18, [row]) == [(wide, 9), (narrow, 7)]


def test_a_pipe_gets_whole_cells_and_no_empty_column() -> None:
    columns = natural([A, B, C], [["long text here", "", "1"], ["x", "", "22"]])
    assert columns == [(A, 14), (C, 2)]
    assert laid_out(columns, ["x", "22"]) == "x" + " " * 13 + "  22"


@pytest.mark.parametrize(
    ("text", "shown"), [("abc", "abc  "), ("abcdef", "abcd…"), ("漢字漢", "漢字…"), ("a漢字漢", "a漢 …")]
)
def test_cells_are_counted_as_terminals_do(text: str, shown: str) -> None:
    assert in_cells(text, 5) == shown


def test_numbers_stand_at_the_right_and_ascii_is_kept() -> None:
    assert in_cells("7", 3, right=True) == "  7"
    assert in_cells("20 °C", 20, ascii_only=True) == "20 deg C" + " " * 12
    assert in_cells("abcdef", 4, ascii_only=True) == "abc~"


def test_a_bar_of_the_level() -> None:
    assert [level_bar(level, 4, ascii_only=True) for level in (-120, -65, -10)] == ["....", "##..", "####"]


@pytest.mark.parametrize(
    ("seconds", "shown"), [(None, ""), (0.1049, "105 ms"), (0.9996, "1.0 s"), (12.34, "12.3 s"), (600, "10 min")]
)
def test_times_are_short(seconds: float | None, shown: str) -> None:
    assert seconds_text(seconds) == shown


def scanned(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["scan", "--radio", RADIO, *arguments])


def test_a_table_for_a_pipe() -> None:
    done = scanned("--sort", "name")
    heading, first, second = done.stdout.splitlines()
    assert done.exit_code == 0
    assert heading.split()[:4] == ["name", "address", "kind", "dBm"]
    assert re.match(r"Sensor-11 +C4:1F:5A:30:00:11 +static +-(49|50|51)(\.5)? +[0-2]\.\d ", first)
    assert second.endswith("environmental sensing                 FFFF: 03 01")
    assert done.stderr.startswith("SIMULATED")


def test_one_document_a_device() -> None:
    done = scanned("--json", "--for", "1s", "--service", "environmental sensing")
    [device] = [json.loads(line) for line in done.stdout.splitlines()]
    assert device["advertising"]["name"] == "VFL-0042"
    assert device["fields"][0]["value"] == ["general discoverable", "BR/EDR not supported"]


def test_one_document_a_report() -> None:
    done = scanned("--reports", "--json", "--for", "1s", "-d", "VFL-*")
    heard = [json.loads(line) for line in done.stdout.splitlines()]
    assert 8 <= len(heard) <= 10
    assert {each["name"] for each in heard} == {"VFL-0042"}
    assert all(0 <= each["seconds"] <= 1 for each in heard)


def test_addresses_of_a_key_are_one_device(tmp_path: Path) -> None:
    """The address and the key of Core Vol 3 Part H appendix D.7."""
    head = "address_type: resolvable\nadvertising: {interval: 100 ms}\nservices: []\n"
    path = tmp_path / "private.yaml"
    path.write_text(f"device: private\naddress: '70:81:94:0D:FB:AA'\n{head}", encoding="utf-8")
    key = "ec0234a357c8ad05341010a60a397d9b"
    words = ["scan", "--radio", f"virtual:{path},{LOGGER}", "--irk", key, "--json"]
    done = CliRunner().invoke(main, words)
    keys = {each["advertising"]["name"]: each.get("key", 0) for each in map(json.loads, done.stdout.splitlines())}
    assert keys == {"private": 1, "VFL-0042": 0}


def test_nothing_that_matches() -> None:
    done = scanned("-d", "nobody", "--json")
    assert (done.exit_code, done.stdout) == (5, "")
    assert "2 other devices heard" in done.stderr


def test_a_key_that_is_none() -> None:
    done = scanned("--irk", "ec02")
    assert done.exit_code == 4
    assert "32 hex digits" in done.stderr


# --- the live list

NOW = 100.0


class Bench:
    """A view of devices that were heard: what it shows on a screen of this size."""

    def __init__(self, *heard: Report, width: int = 110, height: int = 14, **options: Any) -> None:
        self.now = NOW
        self.air = AirList(**options)
        for each in heard:
            self.air.add(each)
        self.view = ScanView(self.air, Names(), lambda: self.now, "a radio", "level")
        self.width, self.height = width, height

    def lines(self) -> list[str]:
        shown = self.view.lines(self.width, self.height)
        assert len(shown) == self.height
        return ["".join(text for text, _ in line).rstrip() for line in shown]

    def press(self, *keys: str) -> list[str]:
        for key in keys:
            self.lines()
            assert self.view.press(key), f"{key} ended the view"
        return self.lines()


def heard(number: int, *, at: float = NOW, rssi: int | None = -50, **said: Any) -> Report:
    """Device `number`, named 'unit NN'."""
    parts = {"services": (), "manufacturer_data": {}, "service_data": {}, "tx_power": None, "name": f"unit {number:02}"}
    return Report(at=at, address=f"C4:00:00:00:00:{number:02X}", address_type="random", rssi=rssi, **{**parts, **said})


def listed(lines: list[str]) -> list[str]:
    """The names of the devices in the list, the chosen one with its mark."""
    return [line[:9].strip() for line in lines if "unit" in line[:9]]


CROWD = [heard(number, rssi=-40 - number) for number in range(30)]


def test_the_list_shows_level_pace_age_and_what_a_device_says() -> None:
    environment = "0000181a-0000-1000-8000-00805f9b34fb"
    said = {"services": (environment,), "manufacturer_data": {0xFFFF: b"\x03\x01"}}
    bench = Bench(*(heard(1, at=98 + n / 10, rssi=-50 - n % 3, **said) for n in range(11)), width=160)
    head, _, row = bench.lines()[:3]
    assert head == "a radio  1 device, 0 reports/s, by level"
    assert row.split() == [
        "unit", "01", "-51", "▬▬▬▬··", "0.8", "10.0", "100", "ms", "1.0", "s", "C4:00:00:00:00:01", "static",
        "environmental", "sensing", "FFFF:", "03", "01",
    ]  # fmt: skip


def test_a_level_that_the_radio_did_not_measure() -> None:
    bench = Bench(heard(1, rssi=None), width=160)
    assert bench.lines()[2].split()[:3] == ["unit", "01", "······"]
    assert any("unknown: the radio did not measure it" in line for line in bench.press("enter"))
    row = bench.air.heard["C4:00:00:00:00:01 random"]
    said = {"seconds": 1.0, **report_as_data(row, heard(1, rssi=None))}
    assert "     ? dBm  C4:00:00:00:00:01" in report_line(said, Names())


def test_the_list_scrolls_with_the_mark() -> None:
    bench = Bench(*CROWD, height=8)
    assert listed(bench.lines()) == [f"unit {number:02}" for number in range(4)]
    assert listed(bench.press("down"))[0] == "> unit 00"
    assert listed(bench.press("end")) == [*(f"unit {number}" for number in range(26, 29)), "> unit 29"]
    assert listed(bench.press("page up"))[0] == "> unit 25"
    assert listed(bench.press("home"))[0] == "> unit 00"


def test_pages_are_turned_by_the_first_key_already() -> None:
    assert listed(Bench(*CROWD, height=8).press("page down"))[-1] == "> unit 04"


def test_how_many_are_out_of_sight() -> None:
    bench = Bench(*CROWD, height=8)
    assert bench.lines()[-2] == "  26 more below"
    assert bench.press("page down", "page down")[-2] == "  5 more above, 21 more below"
    assert bench.press("end")[-2] == "  26 more above"
    assert not any("more" in line for line in Bench(*CROWD[:5], height=8).lines()), "all five have room"


def test_the_list_is_filtered_by_what_is_typed() -> None:
    bench = Bench(*CROWD, heard(31, name="Quince q"))
    typing = bench.press("/", *"qUiX", "back")
    assert typing[-1].startswith("filter by name: qUi_  ")
    assert "Quince q" in typing[2]
    assert typing[0].startswith("a radio  1 shown, 30 hidden")
    kept = bench.press("enter")
    assert kept[0].startswith("filter 'qUi'  a radio")
    assert "q quit" in kept[-1]
    assert len(listed(bench.press("escape"))) == 10, "all again"
    assert len(listed(bench.press("/", "0", "8", "escape"))) == 10
    assert listed(bench.press("/", *"00:08", "enter")) == ["unit 08"], "an address is searched too"


@pytest.mark.parametrize("width", [40, 60, 80])
def test_no_key_is_left_out_of_the_foot(width: int) -> None:
    bench = Bench(*CROWD, width=width)
    for keys, lines in ((LIST_KEYS, bench.lines()), (DETAIL_KEYS, bench.press("enter"))):
        assert len(lines[-1]) <= width
        assert [word for word in lines[-1].split() if word in dict(keys)] == [key for key, _ in keys]


def test_the_mark_stays_with_its_device() -> None:
    bench = Bench(*CROWD[:3])
    bench.press("down", "down")
    for _ in range(3):
        bench.air.add(heard(1, rssi=-90))
    assert listed(bench.lines()) == ["unit 00", "unit 02", "> unit 01"]


def test_the_order_is_changed_by_a_key() -> None:
    bench = Bench(heard(1, at=95, rssi=-40), heard(2, rssi=-60))
    assert listed(bench.lines()) == ["unit 01", "unit 02"]
    assert bench.press("s")[0].endswith("by name")
    assert listed(bench.press("s")) == ["unit 02", "unit 01"]


def test_a_held_list_stands_still_and_goes_on() -> None:
    bench = Bench(heard(1))
    still = bench.press("h")
    assert still[0].startswith("HELD  a radio")
    bench.now += 50
    bench.air.add(heard(2, rssi=-40))
    bench.air.add(heard(1, at=bench.now, name="renamed"))
    assert bench.lines()[1:] == still[1:]
    assert "unit 02" in bench.press("h")[2]


def test_only_matching_devices_are_listed_and_the_others_counted() -> None:
    bench = Bench(*CROWD[:3], selection=Selection(name="*02"))
    assert bench.lines()[0].startswith("a radio  1 shown, 2 hidden")


def test_details_of_the_chosen_device() -> None:
    payload = bytes.fromhex("020106 0409616263 09FF")
    bench = Bench(heard(1, payload=payload, scan_response=b"", tx_power=4, connectable=True), height=20)
    shown = "\n".join(bench.press("enter"))
    for part in (
        "address       C4:00:00:00:00:01  static",
        "0  flags: ",
        "3  complete local name: abc",
        "tx power      4 dBm",
    ):
        assert part in shown
    assert "> unit 01" in bench.press("enter")[2]


def test_details_scroll_on_a_small_screen() -> None:
    bench = Bench(heard(1, payload=bytes.fromhex("020106 0409616263")), height=6)
    assert bench.press("enter")[1].startswith("name")
    assert bench.press("end")[3].startswith("   3  complete local name: abc")
    assert re.fullmatch(r"  \d+ more above", bench.lines()[4])


def test_what_is_long_is_wrapped_in_the_details() -> None:
    uuids = bytes(range(32))
    bench = Bench(heard(1, payload=bytes([33, 7]) + uuids), width=60, height=30)
    lines = [line.strip() for line in bench.press("enter")]
    shown = " ".join(lines)
    for uuid in ("0f0e0d0c-0b0a-0908-0706-050403020100", "1f1e1d1c-1b1a-1918-1716-151413121110"):
        assert uuid in shown.replace(",", "")
    assert "…" not in shown


def test_where_the_radio_tells_no_payload_the_parts_are_shown() -> None:
    bench = Bench(heard(1, services=("0000180f-0000-1000-8000-00805f9b34fb",), manufacturer_data={0xFFFF: b"\x01"}))
    shown = bench.press("enter")
    assert "service       battery" in shown
    assert "data          FFFF: 01" in shown


def test_any_size_can_be_drawn() -> None:
    for height in range(1, 8):
        for width in (1, 10, 40):
            bench = Bench(*CROWD[:4], width=width, height=max(2, height))
            bench.press("down", "enter")
            bench.press("enter")


def test_details_end_with_their_device() -> None:
    bench = Bench(heard(1, rssi=-60), selection=Selection(rssi_min=-70))
    assert bench.press("enter")[1].startswith("name")
    for _ in range(9):
        bench.air.add(heard(1, rssi=-90))
    bench.air.add(heard(2))
    assert listed(bench.lines()) == ["unit 02"]


@given(device_text() | st.text(st.characters(), max_size=40), st.binary(max_size=40), st.integers(1, 120))
def test_nothing_that_a_device_advertises_leaves_its_line(name: str, payload: bytes, width: int) -> None:
    bench = Bench(heard(1, name=name, payload=payload, manufacturer_data={1: payload}), width=width, height=16)
    stream = io.StringIO()
    screen = Screen(Vt100_Output(stream, lambda: Size(rows=16, columns=width)))
    bench.press("enter")
    for _ in range(2):
        screen.draw(bench.view.lines(width, 16))
        bench.view.press("enter")
    Emulated(width, 16).feed("\x1b[?1049h" + stream.getvalue())


def test_q_ends_it() -> None:
    assert Bench().view.press("q") is False


CTRL_C = "\x03"
HOSTILE = r"""device: hostile
address: 'C4:00:00:00:00:09'
advertising: {interval: 20 ms, data: {flags: 0x06, raw: '0D 09 1B 5B 32 4A 1B 5D 30 3B 78 07 9B 41'}}
services: []
"""


def on_terminal(folder: Path, *more: str, columns: int = 100, **env: str) -> OnTerminal:
    (folder / "hostile.yaml").write_text(HOSTILE, encoding="utf-8")
    return OnTerminal(folder, "scan", "--radio", f"virtual:hostile.yaml,{LOGGER}", *more, columns=columns, **env)


@pytest.mark.slow
def test_on_a_terminal_the_list_is_live_and_a_key_ends_it(tmp_path: Path) -> None:
    with on_terminal(tmp_path) as terminal:
        before = mode(terminal)
        terminal.until("VFL-0042")
        terminal.until("\\x1b[2J")
        assert mode(terminal) != before
        terminal.type("\x1b[B\r")
        terminal.until("complete local name")
        screen = Emulated(100).feed(terminal.shown)
        assert "SIMULATED" in screen.lines[0]
        assert "\x1b[0;32m" in terminal.shown, "a terminal has colours"
        terminal.type("\x1a\x13q")
        assert terminal.end() == 0
        assert mode(terminal) == before
    after = Emulated(100).feed(terminal.shown)
    assert (after.alternate, after.cursor_shown, after.wraps) == (False, True, True)
    assert "2 of 2 devices matched" in terminal.shown


def test_a_narrow_terminal_that_grows_and_ctrl_c() -> None:
    script = [("VFL-0042", GROW), ("C4:1F:5A:20:00:42", CTRL_C)]
    done, terminal = attended("scan", "--radio", RADIO, script=script, columns=40)
    assert done.exit_code == 0
    narrow, _ = terminal.seen
    assert narrow.splitlines()[-1].split() == ["q", "up/down", "pgup/pgdn/home/end", "enter", "/", "s", "h"]
    assert not terminal.screen.alternate
    assert "2 of 2 devices matched" in done.stderr


def test_nothing_that_matches_is_said_after_the_live_list_too() -> None:
    done, _ = attended("scan", "--radio", RADIO, "-d", "nobody", script=[("0 devices", "q")])
    assert done.exit_code == 5


@pytest.mark.slow
def test_a_terminal_that_cannot_show_it_gets_the_table_once(tmp_path: Path) -> None:
    with on_terminal(tmp_path, columns=60, TERM="dumb") as terminal:
        assert terminal.end() == 0
    assert "VFL-0042" in terminal.shown
    assert "\x1b" not in terminal.shown
    assert max(map(len, terminal.shown.splitlines())) <= 60


@pytest.mark.slow
def test_a_terminal_that_is_closed_ends_it(tmp_path: Path) -> None:
    view = on_terminal(tmp_path)
    with view as terminal:
        terminal.until("VFL-0042")
        os.close(terminal.master)
        assert terminal.process.wait(PATIENCE) == 0
        terminal.master = view._master = os.open(os.devnull, os.O_RDONLY)
