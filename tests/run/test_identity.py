"""A run judges one unit from its first step to its last; another one in its place is never judged and never blamed."""

import pytest

from tests.run.kit import HEAD, device_text, run

ONE, TWO = "C4:00:00:00:00:01", "C4:00:00:00:00:02"
NEAREST = HEAD.replace("{name: 'unit*'}", "{name: 'unit*', nearest: 6 dB}")
BATTERY = "  - read: battery level\n    name: battery\n    expect: {value: {min: 50 %}}\n"


def unit(number, level, battery, faults=""):
    service = (
        "services: [{service: battery service, characteristics: "
        f"[{{characteristic: battery level, properties: [read], value: {battery} %}}]}}]"
    )
    more = f"rssi: {{mean: {level} dBm}}\n" + (f"faults: {{{faults}}}" if faults else "")
    return device_text(service, name=f"unit {number}", address=f"C4:00:00:00:00:0{number}", more=more)


def units(ran):
    return {seen.address for seen in ran.record.sightings if seen.address}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "steps",
    [
        "steps:\n  - scan:\n  - connect:\n    attempts: 3\n    within: 12 s\n" + BATTERY,
        "steps:\n  - connect:\n    attempts: 3\n    within: 12 s\n" + BATTERY,
        "steps:\n  - connect:\n    fresh: true\n    attempts: 2\n" + BATTERY,
        "steps:\n  - scan:\n  - connect:\n    attempts: 2\n  - disconnect:\n  - scan:\n    name: again\n  - connect:\n    name: anew\n"
        + BATTERY,
    ],
)
def test_the_nearest_stays_the_unit_through_every_attempt(steps, seed):
    """The near one has a bad battery and refuses its first connection; the far one would pass."""
    ran = run(NEAREST + steps, unit(1, -40, 11, "refuse_connections: 1"), unit(2, -75, 99), seed=seed)
    assert units(ran) == {ONE}
    assert (ran.ended.cause, ran.ended.exit_code) == ("limit", 1)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("fresh", ["", "    fresh: true\n"])
def test_two_that_fit_are_ambiguous_without_a_scan_step_too(seed, fresh):
    ran = run(HEAD + "steps:\n  - connect:\n" + fresh + BATTERY, unit(1, -50, 99), unit(2, -50, 99), seed=seed)
    assert (ran.ended.cause, ran.ended.exit_code) == ("station", 7)


def test_a_unit_that_fell_silent_beside_another_one_ends_with_the_station():
    steps = (
        "steps:\n  - scan:\n  - wait: 3 s\n  - scan:\n    name: again\n    expect: {rssi: {max: 0 dBm}}\n  - connect:\n"
        + BATTERY
    )
    ran = run(NEAREST + steps, unit(1, -40, 11, "stop_advertising_after: 4 s"), unit(2, -75, 99))
    assert units(ran) == {ONE}
    assert (ran.ended.cause, ran.ended.exit_code) == ("station", 7)
    assert TWO in ran.ended.message


def test_a_swap_that_is_meant_is_another_unit_in_the_record():
    steps = "steps:\n  - scan:\n  - wait: 3 s\n  - scan:\n    name: the next\n    swap: true\n  - connect:\n" + BATTERY
    ran = run(NEAREST + steps, unit(1, -40, 11, "stop_advertising_after: 4 s"), unit(2, -75, 99))
    assert ran.ended.exit_code == 0
    assert (ran.record.unit.name, ran.record.unit.address) == ("unit 2", TWO)
    assert [(s.step, s.address) for s in ran.record.sightings] == [(1, ONE), (3, TWO)]


def test_every_sighting_is_on_record_with_its_step():
    steps = (
        "steps:\n  - scan:\n  - connect:\n  - disconnect:\n  - scan:\n    name: again\n"
        + "    expect: {count: {min: 1}}\n"
    )
    ran = run(HEAD + steps, unit(1, -40, 50))
    assert [(s.step, s.address) for s in ran.record.sightings] == [(1, ONE), (4, ONE)]


def test_a_swap_of_a_connected_unit_ends_with_the_plan():
    """What is read afterwards would come from the first unit and stand under the second one's name."""
    steps = "steps:\n  - scan:\n  - connect:\n  - scan:\n    name: the next\n    swap: true\n" + BATTERY
    ran = run(NEAREST + steps, unit(1, -40, 99), unit(2, -75, 11))
    assert (ran.ended.cause, ran.ended.exit_code, units(ran)) == ("plan", 4, {ONE})
