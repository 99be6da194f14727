"""Draft, check, run: a drafted plan passes the devices it comes from, and fails one that is different."""

from __future__ import annotations

import pytest

from tests.draft.devices import CLOCK, HEART, PRESENTED, SHELVES, THERMOMETER, TWINS, shelf
from tests.draft.kit import changed, drafted, failures, loaded
from tests.run.kit import DEVICES

LOGGER = (DEVICES / "logger.yaml").read_text(encoding="utf-8")
# without what names an attribute that a unit may lack here
ALIKE = LOGGER.partition("# What good loggers differ in")[0]
KINDS = {
    "logger": LOGGER,
    "sensor": (DEVICES / "sensor.yaml").read_text(encoding="utf-8"),
    "heart": HEART,
    "thermometer": THERMOMETER,
    "presented": PRESENTED,
    "clock": CLOCK,
    "twins": TWINS,
}


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("kind", KINDS)
def test_the_device_passes_its_own_draft(kind, seed):
    assert failures(drafted(KINDS[kind]).text, KINDS[kind], seed) == {}


@pytest.mark.slow
@pytest.mark.parametrize("unit", range(len(SHELVES)))
def test_each_of_several_units_passes_the_draft_of_all(unit):
    assert failures(drafted(*SHELVES).text, SHELVES[unit]) == {}


def test_a_unit_that_was_not_there_passes_the_draft_of_the_others():
    assert failures(drafted(*SHELVES).text, shelf(77, 4.0, 92)) == {}


# one thing different -> the steps that must say so
@pytest.mark.parametrize(
    ("device", "old", "new", "steps"),
    [
        (LOGGER, "model number, properties: [read], value: VFL3", "model number, properties: [read], value: VFL4", {"read model number"}),
        (LOGGER, "value: 3.2.1", "value: 3.2.2", {"read firmware revision"}),
        (LOGGER, "value: 5 °C", "value: 8 °C", {"read own 6b1d0002"}),
        (LOGGER, "humidity, properties: [read], value: 43.5 %", "humidity, properties: [read], value: 50 %", {"read humidity"}),
        (LOGGER, "value: Probe at the shelf", "value: Probe in the door", {"read temperature/user description"}),
        (LOGGER, "on_read: {att_error: read not permitted}", "on_read: {att_error: insufficient authorization}", {"read own 6b1d0006"}),
        (LOGGER, "notify: {period: 50 ms, jitter: 2 ms}", "notify: {period: 100 ms, jitter: 2 ms}", {"notify own 6b1d0004"}),
        (LOGGER, "notify: {period: 1 s, jitter: 20 ms}", "notify: {period: 2 s, jitter: 20 ms}", {"notify temperature"}),
        (LOGGER, "notify: {period: 2 s}", "notify: {period: 4 s}", {"notify battery level"}),
        (LOGGER, "interval: 100 ms", "interval: 200 ms", {"scan"}),
        (LOGGER, "data: '03 01'", "data: '03 02'", {"scan"}),
        (LOGGER, "properties: [write, notify]", "properties: [write, read, notify]", {"discover"}),
        (ALIKE, "      - {characteristic: humidity, properties: [read], value: 43.5 %}\n", "", {"discover", "read humidity"}),
        (HEART, "mean: 72 bpm", "mean: 95 bpm", {"notify heart rate measurement"}),
        (HEART, "contact: contact", "contact: no contact", {"notify heart rate measurement"}),
        (HEART, "period: 1 s", "period: 2 s", {"notify heart rate measurement"}),
        (HEART, "A7K-0019B", "A7K-00193", {"read serial number"}),
        (THERMOMETER, "period: 2 s", "period: 4 s", {"notify temperature measurement"}),
        (THERMOMETER, "temperature_type: body", "temperature_type: rectum", {"notify temperature measurement"}),
        (PRESENTED, "mean: -18 °C", "mean: -8 °C", {"read brine inlet", "notify brine inlet"}),
        (PRESENTED, "value: Brine inlet", "value: Brine outlet", {"read brine inlet/user description"}),
        (CLOCK, "value: {time_zone: 60 min,", "value: {time_zone: 0 min,", {"read local time information"}),
        (TWINS, "value: 40 %", "value: 20 %", {"read battery[1]/battery level"}),
        (TWINS, "value: 9 °C", "value: 4 °C", {"read environmental sensing/temperature[1]"}),
    ],
)  # fmt: skip
def test_a_device_with_one_thing_different_fails_just_there(device, old, new, steps):
    assert failures(drafted(device).text, changed(device, old, new)).keys() == steps


@pytest.mark.parametrize(
    ("old", "new", "steps"),
    [
        ("mean: 4.0 °C", "mean: 6.0 °C", {"read temperature", "notify temperature"}),
        ("value: 92 %", "value: 60 %", {"read battery level"}),
        ("SH-00077", "SH-77", {"read serial number"}),
        ("period: 500 ms", "period: 1 s", {"notify temperature"}),
    ],
)
def test_a_unit_unlike_the_others_fails(old, new, steps):
    assert failures(drafted(*SHELVES).text, changed(shelf(77, 4.0, 92), old, new)).keys() == steps


@pytest.mark.parametrize("kind", KINDS)
def test_a_draft_is_a_plan_without_mistakes(kind):
    plan = loaded(drafted(KINDS[kind]).text)
    assert [step.kind.verb for step in plan.steps[:3]] == ["scan", "connect", "discover"]
    assert not plan.writes
