"""What the Linux radio makes of what BlueZ has; the real one is in tests/host_stack."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest

from benchrig.errors import StationError, SystemPairing
from benchrig.radio.bluez_radio import BluezRadio
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Selection, Sighting
from benchrig.steps.attribute import Names
from tests.radio.bluez import UNIT, StandIn, radio, report

OTHER = "C0:00:00:00:00:02"
SCAN = Selection(name="unit")


@pytest.fixture(autouse=True)
def air(monkeypatch: pytest.MonkeyPatch) -> list[Report]:
    """What every scan hears, at once."""
    heard = [report()]

    @contextlib.asynccontextmanager
    async def scanning(self: Radio, on_report: Callable[[Report], None], *, active: bool = True) -> AsyncIterator[None]:
        for each in heard:
            on_report(each)
        yield

    monkeypatch.setattr(Radio, "scanning", scanning)
    return heard


async def scanned(on: BluezRadio, selection: Selection = SCAN) -> Sighting:
    """The unit as one scan hears it."""
    on._selection, found = selection, Sighting(UNIT)
    async with on.scanning(found.add):
        pass
    return found


async def test_what_was_heard_before_is_forgotten_first() -> None:
    on = radio({"address": UNIT, "table": True}, {"address": OTHER}, {"address": OTHER, "adapter": "hci1"})
    found = await scanned(on)
    assert isinstance(on.bluez, StandIn)
    assert on.bluez.removed == ["01", "02"]
    assert (found.name, found.services, found.remembered) == ("unit", ["181a"], "")


async def test_who_only_looks_leaves_everything() -> None:
    on = radio({"address": OTHER}, prepared=False)
    await scanned(on)
    assert isinstance(on.bluez, StandIn)
    assert on.bluez.removed == []


@pytest.mark.parametrize("kept", ["Paired", "Bonded", "Trusted", "Blocked", "Class", "Connected"])
async def test_what_is_not_a_benchs_to_remove_stays(kept: str) -> None:
    on = radio({"address": OTHER, kept: True})
    await scanned(on)
    assert isinstance(on.bluez, StandIn)
    assert on.bluez.removed == []


@pytest.mark.parametrize("device", [{"Paired": True}, {"Trusted": True, "table": True}])
async def test_what_is_remembered_is_neither_judged_nor_selected(device: dict[str, Any]) -> None:
    on = radio({"Name": "unit", **device})
    found = await scanned(on)
    assert (found.name, found.services) == ("", [])
    assert "mixes its table" in found.remembered
    error = await on.trouble()
    assert isinstance(error, StationError)
    assert "neither selects it" in error.message
    assert f"bluetoothctl remove {UNIT}" in error.advice


async def test_selected_by_its_address_its_name_is_not_judged() -> None:
    on = radio({"Name": "unit", "Paired": True})
    await scanned(on, Selection(address=UNIT))
    assert await on.trouble() is None
    assert [bool(unjudged(on, "scan", name)) for name in ("name", "services", "rssi")] == [True, True, False]


def unjudged(on: BluezRadio, verb: str, name: str) -> str:
    step: Any = type("Step", (), {"verb": verb, "limits": {}})()
    return on.unjudged(step, name, Names())


async def test_while_another_program_scans_nothing_is_forgotten_and_no_time_is_judged() -> None:
    on = radio({"address": UNIT}, discovering=True)
    assert (await scanned(on)).name == "unit"
    assert isinstance(on.bluez, StandIn)
    assert on.bluez.removed == []
    timed = [("scan", "found_after"), ("connect", "elapsed"), ("disconnect", "advertises_after")]
    assert all("another program is scanning" in unjudged(on, *each) for each in timed)
    on.bluez.discovering = False
    await scanned(on)
    assert not any(unjudged(on, *each) for each in timed)


HELD = [
    # who is connected, the selection, what is said
    ({"address": OTHER, "Name": "GAP name"}, Selection(name="ADV-*"), "which may be the unit"),
    ({"address": OTHER, "Name": "GAP name"}, Selection(services=("180f",)), "which may be the unit"),
    ({"address": OTHER, "Name": "GAP name"}, Selection(), "which may be the unit"),
    ({"address": OTHER, "Name": "ADV-7"}, Selection(name="ADV-*"), "is connected to ADV-7 through hci0"),
    ({"address": OTHER, "adapter": "hci1"}, Selection(address=OTHER.lower()), "through hci1"),
    ({"address": OTHER, "Name": "mouse"}, Selection(address=UNIT), None),
]


@pytest.mark.parametrize(("device", "selection", "says"), HELD)
async def test_a_unit_that_was_not_heard_may_be_held(
    device: dict[str, Any], selection: Selection, says: str | None, air: list[Report]
) -> None:
    air.clear()
    on = radio({"Connected": True, **device})
    await scanned(on, selection)
    error = await on.trouble()
    assert (says is None) if error is None else says is not None and says in error.message


async def test_a_unit_that_was_heard_is_held_by_nobody() -> None:
    on = radio({"address": OTHER, "Connected": True, "Name": "unit"})
    await scanned(on)
    assert await on.trouble() is None


@pytest.mark.parametrize("adapter", ["hci0", "hci1"])
async def test_a_link_of_another_program_is_not_joined(adapter: str) -> None:
    on = radio({"adapter": adapter, "Connected": True, "Name": "unit"})
    with pytest.raises(StationError, match=f"connected to unit through {adapter}"):
        await on.connect(Sighting(UNIT), 1.0)


@pytest.mark.parametrize(
    ("path", "is_ours"), [("hci0/dev_C0_00_00_00_00_01", True), ("hci1/dev_C0_00_00_00_00_01", False)]
)
async def test_a_pairing_that_was_asked_for_is_behind_a_missing_answer(path: str, is_ours: bool) -> None:
    on = radio()
    on._target = UNIT
    link: Any = type("Link", (), {"name": "unit", "address": UNIT, "is_up": True, "unasked": []})()
    on._links.append(link)
    for _ in range(2):
        on._asked_to_pair(f"/org/bluez/{path}")
    assert ["unit wants an encrypted link" in each for each in on.remarks()] == [True] * is_ours
    assert isinstance(await on.trouble(), SystemPairing) is is_ours


async def test_what_it_has_connected_to_is_forgotten_whoever_scans() -> None:
    on = radio({"address": UNIT, "table": True}, {"address": OTHER, "table": True}, discovering=True)
    assert isinstance(on.bluez, StandIn)
    on._met.add(UNIT)
    assert (await scanned(on)).name == "unit"
    assert on.bluez.removed == ["01"]
    on.bluez.add(UNIT, table=True)
    on._met.update((UNIT, "C0:00:00:00:00:03"))
    await on.close()
    assert on._met == set()
    assert on.bluez.removed == ["01", "01"]
