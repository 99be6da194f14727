"""Two units of one kind on the air: whatever finds a device again finds the same one, or says so."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.desk.desk import Desk
from benchrig.desk.inspecting import look_at
from benchrig.desk.series import Arrival
from benchrig.desk.watching import Watch
from benchrig.draft.from_devices import Collecting, collect
from benchrig.errors import BenchrigError, DeviceNotFound, WrongDevice
from benchrig.radio.scan import Selection
from tests.desk.kit import at_desk
from tests.desk.prompt.kit import talked
from tests.run.kit import device_text

ONE, TWO = "C4:00:00:00:00:01", "C4:00:00:00:00:02"


def unit(number: int, level: int, *, rssi: int, faults: str = "") -> str:
    services = f"""services:
  - service: battery
    characteristics:
      - {{characteristic: battery level, properties: [read, notify], value: {level} %, notify: {{period: 500 ms}}}}
"""
    more = f"rssi: {{mean: {rssi} dBm, spread: 1 dB}}\n" + (f"faults: {{{faults}}}\n" if faults else "")
    return device_text(services, name=f"unit {number}", address=f"C4:00:00:00:00:0{number}", more=more)


# the near one falls silent once it was connected, and ends its link
LEAVES = unit(1, 5, rssi=-40, faults="disconnect_after: 3 s, stop_advertising_after: 3500 ms")
STAYS = unit(2, 97, rssi=-70)
NEAREST = Selection(name="unit *", nearest=6.0)


async def _again(desk: Desk) -> str:
    _, link = await desk.reach()
    await link.disconnect()
    return (await desk.reach())[0].address


def test_a_desk_holds_on_to_the_device_it_found() -> None:
    returns = unit(1, 5, rssi=-40)
    assert at_desk(_again, returns, STAYS, selection=NEAREST) == ONE


def test_another_device_in_its_place_is_told_and_not_connected() -> None:
    async def work(desk: Desk) -> None:
        _, link = await desk.reach()
        await link.lost.wait()
        await desk.reach()

    with pytest.raises(WrongDevice, match=rf"the unit is {ONE}.* unit 2 {TWO}"):
        at_desk(work, LEAVES, STAYS, selection=NEAREST)


def test_a_watch_has_values_of_one_device_alone() -> None:
    said: list[str] = []

    async def work(desk: Desk) -> tuple[bool, set[Any]]:
        watch = Watch(desk, ["battery level"], seconds=40, reconnect=True)
        values = {event.value async for event in watch.events() if isinstance(event, Arrival)}
        return watch.holes[-1].back, values

    came_back, values = at_desk(work, LEAVES, STAYS, selection=NEAREST, said=said)
    assert (came_back, values) == (False, {5})
    assert "another device matches the selection now: unit 2" in said[0]


def test_a_session_comes_back_to_its_device_or_says_who_answers() -> None:
    done: list[dict[str, Any]] = []
    lines = ("read battery level", "wait 6 s", "read battery level")
    with pytest.raises(WrongDevice, match="another device matches the selection now"):
        _session(*lines, into=done, reconnect=True)
    assert [each["content"].value for each in done if each["verb"] == "read"] == [5]
    assert [each["address"] for each in done if each["verb"] == "connect" and "address" in each] == [ONE]


def test_a_session_goes_to_another_device_when_it_is_named() -> None:
    lines = ("read battery level", "scan --for 5 s", "connect unit 2", "read battery level")
    assert [each["content"].value for each in _session(*lines).of("read")] == [5, 97]


def _session(*lines: str, **options: Any) -> Any:
    return talked(*lines, devices=(LEAVES, STAYS), selection=NEAREST, **options)


def test_a_draft_visits_one_device_each_time() -> None:
    leaves = unit(1, 5, rssi=-40, faults="stop_advertising_after: 6 s")
    with pytest.raises((WrongDevice, DeviceNotFound)) as caught:
        at_desk(lambda desk: collect(desk, Collecting(repeat=3, listen=3.0)), leaves, STAYS, selection=NEAREST)
    assert ONE in caught.value.message


@pytest.mark.parametrize("seed", range(12))
def test_no_arrangement_mixes_two_devices(seed: int) -> None:
    """Levels, refusals and losses by seed: what was read after a return is what was read before, or there is an error."""
    faults = ["disconnect_after: 3 s", "refuse_connections: 1, disconnect_after: 4 s",
              "stop_advertising_after: 4 s, disconnect_after: 3 s"][seed % 3]  # fmt: skip
    devices = (unit(1, 5, rssi=-40 - 10 * (seed % 4), faults=faults), unit(2, 97, rssi=-70 + 5 * (seed % 5)))

    async def work(desk: Desk) -> set[str]:
        levels: set[str] = set()
        try:
            for _ in range(3):
                _, link = await desk.reach()
                [level] = (await look_at(desk, {}))[-1].characteristics
                levels.add(level.content.raw if level.content else "")
                await link.disconnect()
        except BenchrigError:
            return levels
        return levels

    assert len(at_desk(work, *devices, selection=NEAREST, seed=seed) - {""}) <= 1
