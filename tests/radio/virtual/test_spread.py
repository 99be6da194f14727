"""How good units differ: what a device file may say of it, and the units that are drawn."""

from __future__ import annotations

from statistics import fmean, stdev
from typing import Any

import msgspec
import pytest

from benchrig.errors import PlanError
from benchrig.faults.fault import Scene
from benchrig.faults.registry import faults_of
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.spread import unit_of
from benchrig.radio.virtual.writing import device_text
from tests.radio.virtual.bench import models
from tests.run.kit import DEVICES

SENSING = """device: VFL-0001
advertising: {interval: 100 ms, data: {name: VFL-0001}}
rssi: {mean: -50 dBm}
on_request: {silent: false}
services:
  - service: device information
    characteristics:
      - {characteristic: serial number, properties: [read], value: VFL3-000001}
      - {characteristic: hardware revision, properties: [read], value: C}
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, notify], value: {noise: {mean: 20 °C, sd: 0.1 °C}}, notify: {period: 1 s}}
      - {characteristic: humidity, properties: [read], value: 40 %}
      - {characteristic: pressure, properties: [read], value: {ramp: {from: 100000 Pa, to: 101000 Pa, over: 5 s}}}
      - characteristic: 6b1d0004-9a53-4c86-8a3e-2f0f6c1d7e40
        name: log
        fields: [{name: number, as: uint16}, {name: temperature, as: sint16, scale: 0.01, unit: °C}]
        properties: [notify]
        value: {number: {counter: {}}, temperature: {sequence: [20 °C, 21 °C]}}
"""


def device(spread: str, text: str = SENSING) -> DeviceSpec:
    [made] = models(text.replace("on_request: {silent: false}\n", "") + spread)
    assert isinstance(made, DeviceSpec)
    return made


def value(spec: DeviceSpec, called: str) -> Any:
    return next(one.value for each in spec.services for one in each.characteristics if one.called == called)


def number(text: Any) -> float:
    return float(str(text).split()[0])


ALL = """spread:
  level: 3 dB
  clock: 50 ppm
  advertising: 5 %
  notifying: 2 %
  answers: 10 ms
  connecting: 50 ms
  name: {text: 'VFL-{number}', digits: 4, label: name}
  values:
    - {of: serial number, text: 'VFL3-{number}', digits: 6, label: serial}
    - {of: hardware revision, one_of: [C, D, E]}
    - {of: [temperature, log.temperature], sd: 0.5 °C}
    - {of: humidity, from: 30 %, to: 60 %}
    - {of: pressure, sd: 100 Pa}
"""


def test_a_unit_follows_from_its_number_and_the_seed() -> None:
    spec = device(ALL)
    one = unit_of(spec, 4711, 7)
    assert one == unit_of(spec, 4711, 7)
    assert len({device_text(unit_of(spec, n, seed).device) for n in range(20) for seed in (0, 1)}) == 40
    assert one.labels == {"name": "VFL-4711", "serial": "VFL3-004711"}
    assert one.device.advertised.data.endswith(b"VFL-4711")
    assert one.device.spread is None
    fewer = unit_of(
        device(ALL.replace("  level: 3 dB\n", "").replace("    - {of: humidity, from: 30 %, to: 60 %}\n", "")), 4711, 7
    )
    assert value(fewer.device, "temperature") == value(one.device, "temperature"), (
        "one spread more shifts no other draw"
    )


@pytest.mark.slow
def test_what_is_drawn_is_distributed_as_written() -> None:
    spec = device(ALL)
    units = [unit_of(spec, n).device for n in range(600)]
    temperatures = [number(value(each, "temperature")["noise"]["mean"]) for each in units]
    assert fmean(temperatures) == pytest.approx(20, abs=0.08)
    assert stdev(temperatures) == pytest.approx(0.5, rel=0.1)
    logged = [number(value(each, "log")["temperature"]["sequence"][1]) for each in units]
    assert all(log == pytest.approx(own + 1) for log, own in zip(logged, temperatures, strict=True)), "one sensor"
    humid = [number(value(each, "humidity")) for each in units]
    assert 30 <= min(humid) < 31
    assert 59 < max(humid) <= 60
    revisions = [value(each, "hardware revision") for each in units]
    assert all(150 < revisions.count(word) < 250 for word in "CDE")
    assert stdev([each.rssi.dbm for each in units]) == pytest.approx(3, rel=0.1)
    intervals = [each.advertising.interval.seconds for each in units]
    assert 0.0949 < min(intervals) < 0.0955
    assert 0.1045 < max(intervals) < 0.1051
    ends = value(units[0], "pressure")["ramp"]
    assert number(ends["to"]) - number(ends["from"]) == 1000, "a ramp moves as a whole"


def test_a_unit_is_a_device_file_and_one_without_spread_is_the_device_itself() -> None:
    made = unit_of(device(ALL), 3).device
    assert models(device_text(made)) == [made]
    plain = device("")
    assert unit_of(plain, 3).device == plain
    assert models(device_text(device(ALL))) == [device(ALL)]


@pytest.mark.parametrize(
    ("spread", "said"),
    [
        ("level: -1 dB", "a spread is not negative"),
        ("clock: 60 %", "expected at most 50 %"),
        ("name: {text: VFL}", "expected a text with one {number} in it"),
        ("name: {text: '{number}', digits: 13}", "expected 1 to 12 digits"),
        ("values: [{of: temprature, sd: 1 K}]", "this device has no characteristic 'temprature'"),
        ("values: [{of: log.temp, sd: 1 K}]", "'log' has no field 'temp'"),
        ("values: [{of: temperature}]", "a value differs in one way"),
        ("values: [{of: temperature, sd: 1 K, one_of: [1 °C]}]", "a value differs in one way"),
        ("values: [{of: temperature, sd: 1 mV}]", "not a difference of temperature"),
        ("values: [{of: temperature, sd: -1 K}]", "a standard deviation is not negative"),
        ("values: [{of: humidity, from: 30 %}]", "from without to"),
        ("values: [{of: humidity, from: 60 %, to: 30 %}]", "from is above to"),
        ("values: [{of: humidity, one_of: []}]", "an empty list"),
        ("values: [{of: humidity, one_of: [200 Pa]}]", "'humidity' cannot be so"),
        ("values: [{of: humidity, sd: 1 %, digits: 3}]", "only a text with a number has digits"),
        ("values: [{of: serial number, sd: 1}]", "is not a number"),
        ("values: [{of: log.number, sd: 1}]", "a counter is not moved by a standard deviation"),
        ("values: [{of: log, one_of: [1]}]", "'log' cannot be so"),
        ("values: [{of: humidity, sd: 1 %}, {of: [pressure, humidity], sd: 1}]", "'humidity' has a spread already"),
        ("values: [{of: [], sd: 1 %}]", "expected a name or a list of names"),
    ],
)
def test_what_makes_no_sense_is_said_with_its_place(spread: str, said: str) -> None:
    with pytest.raises(PlanError) as caught:
        device(f"spread: {{{spread}}}\n")
    [problem] = caught.value.problems[:1]
    assert said in problem.message
    assert problem.place.line == SENSING.count("\n")


def test_a_delay_and_a_name_that_are_not_there_to_differ() -> None:
    slow = SENSING.replace("on_request: {silent: false}", "on_request: {delay: 5 ms}")
    with pytest.raises(PlanError, match="has a delay there already"):
        models(slow + "spread: {answers: 10 ms}\n")
    with pytest.raises(PlanError, match="advertises no name"):
        models("device: unit 1\nspread: {name: {text: 'VFL-{number}'}}\n")


@pytest.mark.slow
def test_the_spread_hides_no_fault() -> None:
    """A broken device need not have what its spread names."""
    [logger] = models((DEVICES / "logger.yaml").read_text("utf-8"))
    alone = msgspec.structs.replace(logger, spread=None)
    assert logger.spread
    scene = Scene((logger,))
    assert scene.unit == alone
    assert [each.name for each in faults_of(scene)] == [each.name for each in faults_of(Scene((alone,)))]
