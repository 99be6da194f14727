"""Wireshark's dissector as a referee: what a captured run put on the wire, against what its record says.

Of tshark 4.0.17 is known: 32-bit medical floats are always shown as 0 and are not compared here.
"""

from __future__ import annotations

import itertools
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from tests.run.kit import DEVICES, LINE, Ran, device_text, plan_text, run

pytestmark = pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")

# ATT opcodes, Core Vol 3 Part F 3.4.8
ERROR, READ_RESPONSE, WRITE_REQUEST, NOTIFICATION = 0x01, 0x0B, 0x12, 0x1B
INFO = "_ws.col.Info"


def dissected(capture: Path, only: str, *fields: str) -> list[tuple[str, ...]]:
    """The fields of the packets that pass the display filter, as tshark prints them."""
    wanted = [word for field in fields for word in ("-e", field)]
    command = ["tshark", "-r", str(capture), "-Y", only, "-T", "fields", "-E", "occurrence=a", *wanted]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return [tuple(line.split("\t")) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def captured(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ran, Path]:
    path = tmp_path_factory.mktemp("capture") / "run.btsnoop"
    return run(LINE, DEVICES / "logger.yaml", capture=path), path


def test_every_value_that_was_read_stands_on_the_wire(captured: tuple[Ran, Path]) -> None:
    """tshark gives the octets of attributes it does not know, and the meaning of the others (see below)."""
    ran, path = captured
    on_the_wire = [value for (value,) in dissected(path, f"btatt.opcode == {READ_RESPONSE}", "btatt.value")]
    values = [(s.planned, r.raw.lower()) for s in ran.record.steps for r in s.readings if r.name == "value"]
    read = [raw for planned, raw in values if planned.kind in ("read", "write")]
    assert len(on_the_wire) == len(read) >= 8
    assert [(wire or raw) for wire, raw in zip(on_the_wire, read, strict=True)] == read
    assert [wire for wire in on_the_wire if wire] == ["a90b", "2003"], "supply voltage 2985 mV, alarm limit 8 °C"


def test_tshark_finds_the_same_names(captured: tuple[Ran, Path]) -> None:
    _, path = captured
    told = [info for (info,) in dissected(path, f"btatt.opcode == {READ_RESPONSE}", INFO)]
    for name in (
        "Device Information: Model Number String",
        "Device Information: Serial Number String",
        "Battery: Battery Level",
        "Environmental Sensing: Humidity",
        "Environmental Sensing: Temperature",
    ):
        assert sum(f"({name})" in info for info in told) == 1, name


def test_tshark_decodes_the_same_values(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    fields = ("btatt.battery_level", "btatt.humidity", "btatt.temperature", "btatt.serial_number_string")
    packets = dissected(path, f"btatt.opcode == {READ_RESPONSE}", *fields)
    battery, humidity, temperature, serial = (next(p[i] for p in packets if p[i]) for i in range(4))
    assert serial == ran.reading("read serial number").value
    assert int(battery) == ran.reading("read battery level").value
    # both in hundredths: GSS 2026
    assert int(humidity, 0) / 100 == ran.reading("read humidity").value
    assert int(temperature, 0) / 100 == ran.reading("read temperature").value


def test_the_att_error_has_the_same_name(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    errors = dissected(path, f"btatt.opcode == {ERROR} && btatt.req_opcode_in_error == {WRITE_REQUEST}", INFO)
    [(info,)] = errors
    assert ran.reading("write factory key", "att_error").value == "write not permitted"
    assert info.startswith("Rcvd Error Response - Write Not Permitted")


@pytest.mark.slow
def test_as_many_notifications_as_were_counted(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    handles = Counter(handle for (handle,) in dissected(path, f"btatt.opcode == {NOTIFICATION}", "btatt.handle"))
    count = ran.reading("notify log stream", "count").value
    exchanged = ran.reading("exchange command").raw
    assert sorted(handles.values()) == [1, count]
    values = [value for (value,) in dissected(path, f"btatt.opcode == {NOTIFICATION}", "btatt.value")]
    assert values[0] == exchanged.lower()


def test_the_times_between_notifications_are_the_recorded_ones(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    packets = dissected(path, f"btatt.opcode == {NOTIFICATION}", "frame.time_epoch")
    times = [float(time) for (time,) in packets][1:]
    gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
    assert max(gaps) == pytest.approx(ran.reading("notify log stream", "gap_max").value, abs=2e-6)
    rate = (len(times) - 1) / (times[-1] - times[0])
    assert rate == pytest.approx(ran.reading("notify log stream", "rate").value, rel=1e-5)


def test_what_was_written_and_nothing_else(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    subscriptions = "btatt.uuid16 == 0x2902"
    packets = dissected(path, f"btatt.opcode == {WRITE_REQUEST} && !({subscriptions})", "btatt.value")
    notes = [note.text for step in ran.record.steps for note in step.notes if note.text.startswith("sends ")]
    assert [value for (value,) in packets] == [note.removeprefix("sends ").replace(" ", "").lower() for note in notes]


def test_what_was_advertised(captured: tuple[Ran, Path]) -> None:
    ran, path = captured
    reports = dissected(
        path, "btcommon.eir_ad.entry.device_name", "bthci_evt.bd_addr", "btcommon.eir_ad.entry.device_name"
    )
    assert {(address.upper(), name) for address, name in reports} == {(ran.record.unit.address, ran.record.unit.name)}


def test_a_heart_rate_measurement_field_by_field(tmp_path: Path) -> None:
    """GSS 2026's fields of 0x2A37; the event times of RR intervals are in 1/1024 s."""
    device = device_text(
        "services:\n  - service: heart rate\n    characteristics:\n"
        "      - {characteristic: heart rate measurement, properties: [notify], raw: '1E 50 10 00 33 03 9A 02',"
        " notify: {period: 1 s, count: 1}}\n"
    )
    path = tmp_path / "heart.btsnoop"
    ran = run(plan_text("  - notify: heart rate measurement\n    count: 1\n"), device, capture=path)
    prefix = "btatt.heart_rate_measurement."
    [(rate, energy, intervals)] = dissected(
        path, f"btatt.opcode == {NOTIFICATION}", f"{prefix}value.8", f"{prefix}energy_expended", f"{prefix}rr_interval"
    )
    assert int(rate) == ran.reading(3, "value.heart_rate").value == 80
    assert int(energy) == ran.reading(3, "value.energy_expended").value == 16
    assert [int(ticks) / 1024 for ticks in intervals.split(",")] == ran.reading(3, "value.rr_interval").value
