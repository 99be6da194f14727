"""The simulated bench of a rehearsal: who is heard where and how loud, who is reached, what is gone when it is taken out."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from benchrig.errors import LinkError, LinkLost, StationError, UsageError
from benchrig.line.rehearsal import RehearsalBench
from benchrig.radio.link import Link
from benchrig.radio.proof import SERIAL_NUMBER, serial_of
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Sighting
from benchrig.radio.table import Attribute, Segment
from benchrig.radio.virtual.clock import run
from benchrig.station.station import load_station
from tests.line.units import Unit, put_file, several, station_text

ALERT_LEVEL = "00002a06-0000-1000-8000-00805f9b34fb"
OWN = {"1": "left", "2": "right"}


class Rig:
    """A bench with its radios open."""

    def __init__(self, bench: RehearsalBench, folder: Path, radios: dict[str, Radio]) -> None:
        self.bench, self.folder, self.radios = bench, folder, radios

    async def put(self, slot: str, unit: Unit | str | None) -> str:
        put_file(self.folder, slot, unit)
        return await self.bench.put(slot, {"serial": "VFL3-000001"})

    async def heard(self, radio: str = "", seconds: float = 2.0) -> dict[str, float]:
        """Mean levels of what this radio hears, by address."""
        levels: dict[str, list[float]] = {}

        def note(report: Report) -> None:
            if report.rssi is not None:
                levels.setdefault(report.address, []).append(report.rssi)

        async with self.radios[radio].scanning(note):
            await asyncio.sleep(seconds)
        return {address: sum(all_) / len(all_) for address, all_ in levels.items()}

    async def sighting(self, radio: str, unit: Unit) -> Sighting:
        found = Sighting(unit.at)

        def note(report: Report) -> None:
            if report.address == unit.at:
                found.add(report)

        async with self.radios[radio].scanning(note):
            while not found.count:
                await asyncio.sleep(0.05)
        return found

    async def link(self, radio: str, unit: Unit) -> Link:
        """A rough air may lose a request for a connection, not five."""
        for attempt in range(5):
            try:
                return await self.radios[radio].connect(await self.sighting(radio, unit), 5.0)
            except LinkError:
                if attempt == 4:
                    raise
        raise AssertionError

    async def serial(self, radio: str, unit: Unit) -> str:
        """What answers under the address of a unit says of itself."""
        link = await self.link(radio, unit)
        try:
            return await serial_of(link)
        finally:
            await link.disconnect()


@contextlib.asynccontextmanager
async def rig(
    folder: Path, slots: dict[str, str] | None = None, *, seed: int = 1, watch: bool = False, **said: object
) -> AsyncIterator[Rig]:
    """A bench whose radios are open; nothing is left running behind it."""
    before = asyncio.all_tasks()
    file = folder / "station.yaml"
    file.write_text(station_text(slots or {"1": "", "2": ""}, **said), encoding="utf-8")  # type: ignore[arg-type]
    station = load_station(file)
    bench = await RehearsalBench.open(station, seed, folder=folder, watch=watch)
    radios = {name: await bench.opener(name)() for name in {station.slots[slot].radio for slot in station.slots}}
    try:
        yield Rig(bench, folder, radios)
    finally:
        for radio in radios.values():
            await radio.close()
        await bench.close()
    assert asyncio.all_tasks() == before


def attribute(link: Link, uuid: str) -> Attribute:
    return link.table.find([Segment(uuid)])[0].attribute


ONE, TWO = Unit(1, rssi=-50), Unit(2, rssi=-60)
AIRS = pytest.mark.parametrize("air", ["", "rough"])


@AIRS
async def test_a_unit_is_loud_at_the_radio_of_its_slot_and_weaker_by_apart_at_the_others(tmp_path, air):
    async with rig(tmp_path, OWN, air=air, apart=25) as at:
        await at.put("1", ONE)
        left, right = await at.heard("left"), await at.heard("right")
        assert left[ONE.at] == pytest.approx(-50, abs=6)
        assert left[ONE.at] - right[ONE.at] == pytest.approx(25, abs=2)


@AIRS
async def test_slots_that_share_a_radio_are_heard_alike(tmp_path, air):
    async with rig(tmp_path, air=air) as at:
        await at.put("1", ONE)
        await at.put("2", TWO)
        heard = await at.heard()
        assert heard[ONE.at] == pytest.approx(-50, abs=6)
        assert heard[TWO.at] == pytest.approx(-60, abs=6)


async def test_a_link_is_as_strong_as_the_unit_is_near(tmp_path):
    async with rig(tmp_path, OWN) as at:
        await at.put("1", ONE.but(spread=0.0))
        for name, level in (("left", -50), ("right", -80)):
            link = await at.link(name, ONE)
            assert at.bench.air.air.rssi_of(at.bench.air.air.links[0]) == level
            await link.disconnect()
            await asyncio.sleep(1)


async def test_two_units_of_one_name_are_two(tmp_path):
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        await at.put("2", TWO)
        assert [await at.serial("", unit) for unit in (TWO, ONE)] == [TWO.serial, ONE.serial]


async def test_a_connection_to_a_doubled_address_reaches_one_of_both_and_the_other_advertises_on(tmp_path):
    clone = Unit(9, address=1)
    async with rig(tmp_path, OWN) as at:
        await at.put("1", ONE)
        await at.put("2", clone)
        reached = {await at.serial("left", ONE) for _ in range(12)}
        assert reached == {ONE.serial, clone.serial}
        link = await at.link("left", ONE)
        assert ONE.at in await at.heard("left")
        await link.disconnect()


async def test_both_units_of_one_address_are_connected_to_over_two_radios(tmp_path):
    clone = Unit(9, address=1)
    async with rig(tmp_path, OWN) as at:
        await at.put("1", ONE)
        await at.put("2", clone)
        links = [await at.link(name, ONE) for name in ("left", "right")]
        assert {await serial_of(link) for link in links} == {ONE.serial, clone.serial}
        for link in links:
            await link.disconnect()


@AIRS
async def test_a_unit_that_is_taken_out_is_gone_at_once(tmp_path, air):
    async with rig(tmp_path, air=air) as at:
        await at.put("1", ONE)
        link = await at.link("", ONE)
        await at.put("1", None)
        with pytest.raises(LinkLost):
            await link.read(attribute(link, SERIAL_NUMBER), "read", 60.0)
        assert ONE.at not in await at.heard()


@pytest.mark.parametrize("change", [None, TWO], ids=["gone", "replaced"])
async def test_a_file_that_goes_pulls_its_unit_out(tmp_path, change):
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        put_file(tmp_path, "1", change)
        assert [at.bench.poll(), at.bench.poll()] == [["1"], []]
        assert set(await at.heard()) == ({change.at} if change else set())


async def test_a_file_that_was_written_with_the_same_in_it_pulls_nothing_out(tmp_path):
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        put_file(tmp_path, "1", ONE)
        assert at.bench.poll() == []


def test_the_bench_watches_its_files_by_itself_on_both_clocks(tmp_path):
    async def pulled(real: bool) -> bool:
        async with rig(tmp_path, watch=True) as at:
            await at.put("1", ONE)
            put_file(tmp_path, "1", None)
            while at.bench.occupied("1"):
                await asyncio.sleep(0.01 if real else 60.0)
            return True

    assert run(pulled(False))
    assert run(pulled(True), real_time=True)


async def test_what_was_written_to_a_unit_is_gone_when_it_is_put_in_anew(tmp_path):
    text = ONE.text + "      - {characteristic: alert level, properties: [read, write], as: uint8, value: 1}\n"
    async with rig(tmp_path) as at:
        for _ in range(2):
            await at.put("1", None)
            await at.put("1", text)
            link = await at.link("", ONE)
            level = attribute(link, ALERT_LEVEL)
            assert await link.read(level, "read", 5.0) == b"\x01"
            await link.write(level, b"\x02", "write", 5.0)
            await link.disconnect()


async def test_a_file_that_is_named_by_its_slot_alone_is_there_before_its_label(tmp_path):
    put_file(tmp_path, "2", TWO)
    async with rig(tmp_path, OWN) as at:
        assert set(await at.heard("left")) == {TWO.at}
        assert await at.put("1", ONE) == ""
        await at.bench.take("1")
        assert set(await at.heard("left")) == {ONE.at, TWO.at}


async def test_units_that_are_swapped_are_both_there_at_the_first_label(tmp_path):
    async with rig(tmp_path, OWN) as at:
        put_file(tmp_path, "2", ONE)
        await at.put("1", TWO)
        left, right = await at.heard("left"), await at.heard("right")
        assert left[TWO.at] - right[TWO.at] == pytest.approx(30, abs=3) == right[ONE.at] - left[ONE.at]


async def test_a_unit_stays_as_it_is_while_its_file_does(tmp_path):
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        link = await at.link("", ONE)
        await at.put("1", ONE)
        assert await serial_of(link) == ONE.serial
        await link.disconnect()


async def test_a_unit_of_a_barcode_is_in_its_slot_until_it_is_taken_out(tmp_path):
    async with rig(tmp_path, unit="slots/{serial}.yaml") as at:
        put_file(tmp_path, ONE.serial, ONE)
        assert await at.heard() == {}
        assert await at.bench.put("1", {"serial": ONE.serial}) == ""
        assert ONE.at in await at.heard()
        await at.bench.take("1")
        assert await at.heard() == {}


@pytest.mark.parametrize("after", [0.0, 1e-6, 0.001, 0.1])
async def test_a_unit_whose_link_has_just_ended_is_gone_as_well(tmp_path, after):
    clone = Unit(9, address=1)
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        await (await at.link("", ONE)).disconnect()
        await asyncio.sleep(after)
        await at.put("1", clone)
        await at.heard()
        assert {await at.serial("", ONE) for _ in range(5)} == {clone.serial}


async def test_a_unit_that_ends_its_link_as_its_power_goes_fails_nothing(tmp_path):
    async with rig(tmp_path) as at:
        await at.put("1", ONE)
        await at.link("", ONE)
        device = next(iter(at.bench._occupied["1"].guests.devices))
        connection = device.connections[0]
        device.vanish(connection)
        await device.disconnect(connection)
        await at.put("1", None)
        await at.heard()


async def test_no_file_is_an_empty_slot_and_a_broken_one_is_told_in_words(tmp_path):
    async with rig(tmp_path) as at:
        assert await at.put("1", None) == ""
        assert not at.bench.occupied("1")
        said = await at.put("1", "device: logger\nrssi: loud\n")
        assert "slots/1.yaml" in said
        assert "\n" not in said
        assert not at.bench.occupied("1")
        assert "rough" in await at.put("1", ONE.but(more="air: rough\n"))


@pytest.mark.parametrize("value", ["../1", "a/b", "a\\b", "..", "a\0b", "a" * 400])
async def test_no_barcode_leads_to_another_folder(tmp_path, value):
    (tmp_path / "slots").mkdir()
    async with rig(tmp_path, unit="slots/{serial}.yaml") as at:
        assert await at.bench.put("1", {"serial": value})
        assert not at.bench.occupied("1")


async def test_two_units_in_one_slot(tmp_path):
    async with rig(tmp_path) as at:
        assert await at.put("1", several(ONE, TWO)) == ""
        assert set(await at.heard()) == {ONE.at, TWO.at}
        await at.put("1", None)
        assert await at.heard() == {}


async def test_an_adapter_that_is_pulled_out_loses_its_links_and_comes_back(tmp_path):
    async with rig(tmp_path, OWN) as at:
        await at.put("1", ONE)
        await at.put("2", TWO)
        left, right = await at.link("left", ONE), await at.link("right", TWO)
        at.bench.unplug("left")
        assert isinstance(await at.radios["left"].trouble(), StationError)
        await at.radios["left"].close()
        with pytest.raises(StationError):
            await at.bench.opener("left")()
        assert await serial_of(right) == TWO.serial
        await right.disconnect()
        at.bench.plug_in("left")
        at.radios["left"] = await at.bench.opener("left")()
        await asyncio.sleep(30)  # until the unit has noticed
        assert not left.is_up
        assert await at.serial("left", ONE) == ONE.serial


async def test_a_radio_that_is_open_is_not_opened_again(tmp_path):
    async with rig(tmp_path) as at:
        with pytest.raises(StationError, match="already"):
            await at.bench.opener("")()


async def test_a_radio_has_the_consoles_of_its_slots(tmp_path):
    async with rig(tmp_path, OWN) as at:
        await at.put("1", ONE)
        assert len(at.radios["left"].beside) == len(at.bench.beside("1")) == 1
        assert at.radios["right"].beside == []
        await at.put("1", None)
        assert at.radios["left"].beside == at.bench.beside("1") == []


async def test_a_station_without_a_rehearsal_has_no_bench(tmp_path):
    (tmp_path / "s.yaml").write_text("station: line 3\n")
    with pytest.raises(UsageError):
        await RehearsalBench.open(load_station(tmp_path / "s.yaml"), 1)


@pytest.mark.parametrize("air", ["", "rough"])
def test_the_same_seed_and_order_give_the_same_air(tmp_path, air):
    async def played(seed: int) -> list[dict[str, float]]:
        async with rig(tmp_path, OWN, air=air, seed=seed) as at:
            await at.put("1", ONE)
            await at.put("2", TWO)
            first = await at.heard("left")
            await at.serial("left", ONE)
            await at.put("1", ONE.but(rssi=-55))
            rest = [await at.heard("left"), await at.heard("right")]
            for slot in ("1", "2"):
                await at.put(slot, None)
            return [first, *rest]

    assert run(played(3)) == run(played(3)) != run(played(4))


async def test_what_is_nearby_is_heard_alike_by_all_radios(tmp_path):
    (tmp_path / "others.yaml").write_text(several(ONE.but(spread=0.0)))
    async with rig(tmp_path, OWN, nearby="others.yaml") as at:
        assert await at.heard("left") == await at.heard("right") == {ONE.at: -50}


async def test_a_broken_file_of_what_is_nearby_opens_nothing(tmp_path):
    with pytest.raises(UsageError, match=r"others\.yaml is not there"):
        async with rig(tmp_path, nearby="others.yaml"):
            pass
