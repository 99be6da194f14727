"""A run judges one unit from its first step to its last; another one in its place is never judged and never blamed."""

import asyncio
import contextlib
from dataclasses import replace

import pytest

from benchrig.radio.radio import Radio
from tests.run.kit import HEAD, device_text, plan_text, run

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
    assert [(s.where.node, s.address) for s in ran.record.sightings] == [("1", ONE), ("3", TWO)]


def test_every_sighting_is_on_record_with_its_step():
    steps = (
        "steps:\n  - scan:\n  - connect:\n  - disconnect:\n  - scan:\n    name: again\n"
        + "    expect: {count: {min: 1}}\n"
    )
    ran = run(HEAD + steps, unit(1, -40, 50))
    assert [(s.where.node, s.address) for s in ran.record.sightings] == [("1", ONE), ("4", ONE)]


def test_a_swap_of_a_connected_unit_ends_with_the_plan():
    """What is read afterwards would come from the first unit and stand under the second one's name."""
    steps = "steps:\n  - scan:\n  - connect:\n  - scan:\n    name: the next\n    swap: true\n" + BATTERY
    ran = run(NEAREST + steps, unit(1, -40, 99), unit(2, -75, 11))
    assert (ran.ended.cause, ran.ended.exit_code, units(ran)) == ("plan", 4, {ONE})


BEFORE, AFTER = "44:00:00:00:00:01", "44:00:00:00:00:02"


@pytest.fixture
def moves(monkeypatch):
    """A device with a private address that changes 3 s after the first scan began."""
    scanning, connect, began = Radio.scanning, Radio.connect, []

    def has_moved():
        began.append(asyncio.get_running_loop().time())
        return began[-1] - began[0] > 3

    @contextlib.asynccontextmanager
    async def heard(self, listener, **keys):
        def under_its_address(report):
            listener(replace(report, address=AFTER) if has_moved() else report)

        async with scanning(self, under_its_address, **keys):
            yield

    async def reached(self, sighting, within, **keys):
        return await connect(self, replace(sighting, address=BEFORE), within, **keys)

    monkeypatch.setattr(Radio, "scanning", heard)
    monkeypatch.setattr(Radio, "connect", reached)


def private(serial):
    services = (
        "services:\n  - service: device information\n    characteristics:\n"
        f"      - {{characteristic: serial number, properties: [read, write], raw: '{serial}'}}\n"
        "  - service: battery service\n    characteristics:\n"
        "      - {characteristic: battery level, properties: [read], value: 80 %}"
    )
    return device_text(services, address=BEFORE, more="address_type: resolvable")


AGAIN = "  - disconnect:\n  - wait: 4 s\n  - connect:\n    name: again\n    fresh: true\n" + BATTERY
FOUND = "steps:\n  - scan:\n    for: 500 ms\n  - connect:\n"


@pytest.mark.parametrize("serial", ["41 42 43", "41 42 43 00"])
@pytest.mark.parametrize(
    "step",
    ["read: serial number", "read: serial number\n    format: {as: hex}", "write: serial number\n    value: XY"],
)
def test_a_unit_of_changing_addresses_is_known_by_its_serial_number(moves, serial, step):
    """However a plan has read it, and after it has written another one."""
    ran = run(HEAD + FOUND + f"  - {step}\n" + AGAIN, private(serial))
    assert (ran.ended.exit_code, units(ran)) == (0, {BEFORE, AFTER})


def test_a_unit_without_a_serial_number_cannot_be_told_from_another_one(moves):
    ran = run(HEAD + FOUND + AGAIN, private(""))
    assert (ran.ended.exit_code, ran.ended.cause, units(ran)) == (7, "station", {BEFORE})


def test_a_unit_that_advertises_again_under_another_address_is_not_blamed(moves):
    steps = "  - wait: 3 s\n  - disconnect:\n    expect: {advertises_after: {max: 5 s}}\n"
    ran = run(HEAD + FOUND + steps, private("41"))
    assert (ran.ended.exit_code, ran.ended.cause) == (5, "station")
    assert "may be another device" in ran.ended.message


def test_a_unit_that_does_not_advertise_again_fails(moves):
    steps = "  - wait: 3 s\n  - disconnect:\n    expect: {advertises_after: {max: 5 s}}\n"
    silent = private("41") + "faults: {stop_advertising_after: 2 s}\n"
    ran = run(HEAD + FOUND + steps, silent)
    assert (ran.ended.exit_code, ran.ended.cause) == (1, "limit")
    assert ran.ended.message == "there is no value: the unit was not heard again in the time of the step"


def test_a_unit_that_was_heard_before_is_not_asked_to_fit_the_selection() -> None:
    silent = device_text("services: []", more="faults: {stop_advertising_after: 1 s}")
    ran = run(plan_text("  - wait: 2 s\n  - scan:\n    name: again\n", reach="steps:\n  - scan:\n"), silent)
    assert (ran.step("again").ended.cause, ran.ended.exit_code) == ("link", 1)
    assert ran.step("again").ended.advice == "check that the unit is still powered and advertising: it was heard before"


def test_a_device_that_fits_by_its_name_alone_is_said() -> None:
    plan = plan_text("").replace("{name: 'unit*'}", "{name: 'unit*', manufacturer: {company: 0xFFFF}}")
    ended = run(plan, device_text()).step("scan").ended
    assert ended.cause == "link"
    assert ended.advice.startswith("look at unit 1 C4:00:00:00:00:01")
    assert ended.advice.endswith("its name fits, but not its manufacturer data")
