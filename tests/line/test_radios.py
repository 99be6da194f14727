"""The radios of a line: places, turns, what is heard in which slot."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

import pytest

from benchrig.errors import StationError
from benchrig.line.radios import StationRadios, use_of
from benchrig.plan.tree import StepPlan
from benchrig.radio.beside import Beside
from benchrig.radio.radio import Radio
from benchrig.radio.specify import open_simulated
from benchrig.radio.turns import Use
from benchrig.radio.virtual.clock import run
from benchrig.run.walk import Pace
from benchrig.station.slots import RadioSpec, SlotSpec
from benchrig.station.station import Station
from benchrig.testing.sources import load_devices, load_plan
from benchrig.values.quantity import Gain
from tests.run.kit import device_text, plan_text

STATION = Station(
    "bench 1",
    radios={"left": RadioSpec("virtual:left.yaml", 2), "right": RadioSpec("virtual:right.yaml")},
    slots={
        "1": SlotSpec("left"),
        "2": SlotSpec("left", rssi_offset=Gain.from_source("6 dB")),
        "3": SlotSpec("right"),
    },
)


async def _open(number: int) -> Radio:
    unit = device_text(
        name=f"unit {number}", address=f"C4:00:00:00:00:0{number}", more="rssi: {mean: -50 dBm, spread: 1 dB}"
    )
    return await open_simulated([*load_devices([unit])])


async def _no_radio() -> Radio:
    raise StationError("there is no such adapter")


OPENERS: Mapping[str, Callable[[], Awaitable[Radio]]] = {"left": lambda: _open(1), "right": lambda: _open(2)}


def with_radios(work: Callable[[StationRadios], Awaitable[Any]], **openers: Callable[[], Awaitable[Radio]]) -> Any:
    async def main() -> Any:
        radios = StationRadios(STATION, {**OPENERS, **openers})
        try:
            return await work(radios)
        finally:
            await radios.close()

    return run(main())


def test_a_station_without_slots_has_one_on_its_own_radio() -> None:
    radios = StationRadios(Station("bench 1", radio="host:hci1", links=3))
    assert (radios.name("1"), radios.spec("1").links, radios.slots_of("")) == ("", 3, ("1",))


def test_slots_share_the_radio_of_their_name() -> None:
    radios = StationRadios(STATION, OPENERS)
    assert [radios.name(slot) for slot in ("1", "2", "3")] == ["left", "left", "right"]
    assert radios.slots_of("left") == ("1", "2")


def test_what_a_slot_hears_has_its_own_levels() -> None:
    heard = with_radios(lambda radios: radios.listen(2.0))
    levels = {slot: [(each.name, each.median_rssi) for each in found.sightings] for slot, found in heard.items()}
    [(_, level)] = levels["1"]
    assert levels == {"1": [("unit 1", level)], "2": [("unit 1", level + 6)], "3": [("unit 2", levels["3"][0][1])]}


def test_a_radio_that_does_not_open_keeps_no_other_from_it() -> None:
    async def work(radios: StationRadios) -> Any:
        return await radios.open(), await radios.listen(1.0)

    failed, heard = with_radios(work, right=_no_radio)
    assert {name: error.message for name, error in failed.items()} == {"right": "there is no such adapter"}
    assert (heard["3"].error.message, heard["3"].sightings) == ("there is no such adapter", ())
    assert heard["1"].sightings
    assert heard["1"].error is None


def test_so_many_links_and_no_more() -> None:
    async def work(radios: StationRadios) -> list[int]:
        now, most = 0, {"1": 0, "3": 0}

        async def hold(slot: str) -> None:
            nonlocal now
            async with radios.link(slot):
                now += 1
                most[slot] = max(most[slot], now)
                await asyncio.sleep(1.0)
                now -= 1

        for slot in most:
            await asyncio.gather(*(hold(slot) for _ in range(4)))
        return [*most.values()]

    assert with_radios(work) == [2, 1]


def step(text: str) -> StepPlan:
    return load_plan(plan_text(text)).nodes[-1]


CONNECT, SCAN = step("  - disconnect:\n  - connect:\n"), step("  - scan:\n    for: 1 s\n")


@pytest.mark.parametrize(
    ("text", "use"),
    [
        ("  - connect:\n", Use.CONNECT),
        ("  - connect:\n    as: stranger\n", Use.ALONE),
        ("  - scan:\n    for: 1 s\n", Use.HEAR),
        ("  - disconnect:\n", Use.HEAR),
        ("  - read: battery level\n", Use.NOTHING),
        ("  - repeat: 2\n    steps:\n      - disconnect:\n      - connect:\n", Use.CONNECT),
    ],
)
def test_a_step_waits_for_as_much_as_what_is_in_it(text: str, use: Use) -> None:
    before = "" if "repeat" in text or "read" in text or "disconnect" in text else "  - disconnect:\n"
    assert use_of(step(before + text)) is use


async def _passes(pace: Pace, node: StepPlan | None, within: float = 1.0) -> bool:
    try:
        async with asyncio.timeout(within):
            await pace(node)
    except TimeoutError:
        return False
    return True


def test_one_step_at_a_time_connects_over_a_radio() -> None:
    async def work(radios: StationRadios) -> list[bool]:
        with radios.turn("1") as one, radios.turn("2") as other, radios.turn("3") as elsewhere:
            came = [await _passes(one, CONNECT), await _passes(other, CONNECT), await _passes(elsewhere, CONNECT)]
            came += [await _passes(other, SCAN), await _passes(one, SCAN), await _passes(other, CONNECT)]
            return [*came, await _passes(other, None)]

    assert with_radios(work) == [True, False, True, True, True, True, True]


def test_a_run_that_breaks_off_keeps_no_turn() -> None:
    async def work(radios: StationRadios) -> bool:
        async def broken_off() -> None:
            with radios.turn("1") as pace:
                await pace(CONNECT)
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            await broken_off()
        with radios.turn("2") as other:
            return await _passes(other, CONNECT)

    assert with_radios(work)


def test_who_connects_beside_a_run_takes_turns_with_it() -> None:
    async def work(radios: StationRadios) -> list[bool]:
        with radios.turn("1") as pace:
            async with radios.connecting("2"):
                came = [await _passes(pace, CONNECT)]
            return [*came, await _passes(pace, CONNECT)]

    assert with_radios(work) == [False, True]


def test_what_is_beside_a_slot_is_beside_its_runs() -> None:
    async def main() -> list[str]:
        radios = StationRadios(STATION, OPENERS, beside=lambda slot: [Beside(f"console of {slot}")])
        lent = [await radios.lend(slot) for slot in ("1", "2")]
        await radios.close()
        return [one.beside[0].name for one in lent]

    assert run(main()) == ["console of 1", "console of 2"]
