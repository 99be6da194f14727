"""The list of what is on the air."""

from __future__ import annotations

import asyncio
import contextlib

import pytest

from benchrig.desk.airlist import LIVE_WINDOW, MOST_ADDRESSES, AirList, HeardDevice, described, listen, reports
from benchrig.desk.desk import Desk
from benchrig.radio.scan import MOST_PARTS, Report, Selection
from tests.desk.kit import at_desk
from tests.run.kit import DEVICES, device_text

LOGGER = DEVICES / "logger.yaml"
# The vector of Core Vol 3 Part H appendix D.7, as Bluetooth devices print it: the key, an address made with it.
KEY, RESOLVABLE = bytes.fromhex("ec0234a357c8ad05341010a60a397d9b"), "70:81:94:0D:FB:AA"


def report(address: str = "C0:00:00:00:00:01", at: float = 1.0, rssi: int | None = -50, **said: object) -> Report:
    parts: dict[str, object] = {
        "address_type": "random", "name": None, "services": (), "manufacturer_data": {}, "service_data": {},
        "tx_power": None,
    }  # fmt: skip
    return Report(at=at, address=address, rssi=rssi, **{**parts, **said})  # type: ignore[arg-type]


def listed(*heard: Report, **options: object) -> AirList:
    air = AirList(**options)  # type: ignore[arg-type]
    for each in heard:
        air.add(each)
    return air


def names(air: AirList, order: str, now: float = 10.0) -> list[str]:
    return [row.sighting.name for row in air.ordered(order, now)]  # type: ignore[arg-type]


def test_the_orders() -> None:
    one, two, three = (f"C0:00:00:00:00:0{number}" for number in (1, 2, 3))
    air = listed(
        report(one, 9.0, -40, name="b"), report(two, 8.0, -60, name="A"), report(two, 8.1, -60), report(two, 8.2, -60),
        report(three, 7.0, -50, name="c"), report(three, 8.0, -50),
    )  # fmt: skip
    assert names(air, "level") == ["b", "c", "A"]
    assert names(air, "name") == ["A", "b", "c"]
    assert names(air, "age") == ["b", "A", "c"]
    assert names(air, "rate") == ["A", "c", "b"]


def test_public_and_random_addresses_of_the_same_octets_are_two_rows() -> None:
    assert len(listed(report(), report(address_type="public")).heard) == 2


def test_a_selected_device_stays_in_a_crowd() -> None:
    crowd = (report(f"C0:00:00:00:01:{number:02X}", at=2.0 + number) for number in range(200))
    air = listed(report(name="unit"), *crowd, selection=Selection(name="unit"), most=20)
    assert [row.sighting.name for row in air.fitting()] == ["unit"]


def test_a_device_whose_level_is_not_known() -> None:
    air = listed(report("C0:00:00:00:00:01", rssi=None, name="a"), report("C0:00:00:00:00:02", rssi=-90, name="b"))
    assert names(air, "level") == ["b", "a"]
    last = described(air.ordered("level", 10.0)[-1], 10.0)
    assert (last.rssi, last.spread, last.advertising.rssi) == (None, None, None)


def test_devices_without_a_name_come_last() -> None:
    air = listed(report("C0:00:00:00:00:01"), report("C0:00:00:00:00:02", name="z"))
    assert names(air, "name") == ["z", ""]


def test_only_what_the_selection_accepts_is_listed() -> None:
    air = listed(
        report("C0:00:00:00:00:01", name="unit 1"), report("C0:00:00:00:00:02", name="other"),
        selection=Selection(name="unit*"),
    )  # fmt: skip
    assert names(air, "level") == ["unit 1"]
    assert len(air.heard) == 2


def test_the_statistics_of_a_row() -> None:
    air = listed(*(report(at=1 + number / 10, rssi=rssi) for number, rssi in enumerate((-50, -54, -52))))
    [row] = air.fitting()
    device = described(row, 2.0)
    assert (device.rssi, device.spread, device.count, device.age) == (-52, 2.0, 3, 0.8)
    assert device.rate == pytest.approx(10)
    assert device.advertising.interval == pytest.approx(0.1)


def test_a_live_row_looks_back_on_a_bounded_number_of_reports() -> None:
    air = listed(*(report(at=number, rssi=-90) for number in range(500)), *(report(at=500, rssi=-40),) * LIVE_WINDOW)
    [row] = air.fitting()
    assert (row.sighting.median_rssi, row.sighting.count, len(row.sighting.rssi)) == (
        -40,
        500 + LIVE_WINDOW,
        LIVE_WINDOW,
    )


def test_devices_unheard_for_longest_give_way() -> None:
    addresses = [f"C0:00:00:00:{number // 256:02X}:{number % 256:02X}" for number in range(300)]
    air = listed(*(report(address, at) for at, address in enumerate(addresses)), most=100)
    assert len(air.heard) <= 100
    assert addresses[-1] in list(air.heard)[-1]
    assert air.total == 300


def test_a_device_that_says_ever_new_things_is_bounded() -> None:
    uuids = [f"6b1d{number:04x}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in range(300)]
    air = listed(*(report(services=(uuid,), manufacturer_data={n: b"x"}, service_data={uuid: b"x"})
                   for n, uuid in enumerate(uuids)))  # fmt: skip
    sighting = air.fitting()[0].sighting
    assert [len(part) for part in (sighting.services, sighting.manufacturer_data, sighting.service_data)] == [
        MOST_PARTS
    ] * 3


def test_private_addresses_of_one_key_are_one_device() -> None:
    air = listed(
        report(RESOLVABLE, 1.0, name="tag"), report("C0:00:00:00:00:01", 1.5), report(RESOLVABLE, 2.0), keys=[KEY]
    )
    assert [row.key for row in air.ordered("age", 3.0)] == [1, 0]


def test_an_address_that_changes_keeps_its_row() -> None:
    def of_second(key: bytes, address: str) -> bool:
        return key == b"2" and address.startswith("4")

    rotating = [f"4{number:01X}:00:00:00:00:00" for number in range(4)]
    air = listed(*(report(a, n, name="tag") for n, a in enumerate(rotating)), keys=[b"1", b"2"], resolve=of_second)
    [row] = air.fitting()
    assert (row.key, row.sighting.address, row.sighting.count) == (2, rotating[-1], 4)
    assert described(row, 9.0).addresses == rotating


def test_the_newest_addresses_of_a_key_are_kept() -> None:
    many = [f"40:00:00:00:00:{number:02X}" for number in range(MOST_ADDRESSES + 8)]
    air = listed(*map(report, many), keys=[b"1"], resolve=lambda *_: True)
    assert described(air.fitting()[0], 9.0).addresses == many[8:]


def test_a_public_address_and_the_identifier_of_a_system_belong_to_no_key() -> None:
    identifier = "6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40"
    air = listed(
        report(RESOLVABLE, address_type="public"), report(identifier, address_type=""), keys=[KEY],
        resolve=lambda *_: True,
    )  # fmt: skip
    assert [row.key for row in air.fitting()] == [0, 0]


def _listened(*devices: object, seconds: float = 2.0, **options: object) -> list[HeardDevice]:
    async def work(desk: Desk) -> list[HeardDevice]:
        air = AirList(desk.options.selection, window=4096)
        await listen(desk, air, seconds)
        return [described(row, desk.now(), fields=True) for row in air.ordered("level", desk.now())]

    return at_desk(work, *devices, **options)  # type: ignore[arg-type]


def test_a_device_on_the_air_with_the_fields_of_its_payload() -> None:
    [device] = _listened(LOGGER)
    assert (device.advertising.name, device.address_kind) == ("VFL-0042", "static")
    assert device.rate == pytest.approx(1 / 0.105, rel=0.05), "every 100 ms and up to 10 ms later"
    assert [(each["in"], each["offset"], each["name"]) for each in device.fields][-1] == (
        "scan response", 0, "complete local name",
    )  # fmt: skip


def test_a_malformed_payload_is_listed_with_what_is_wrong() -> None:
    raw = device_text().replace("name: unit 1}}", "name: unit 1, raw: '09 FF'}}")
    [device] = _listened(raw)
    assert device.fields[-1]["wrong"]


def test_reports_come_one_by_one_in_order() -> None:
    async def work(desk: Desk) -> list[float]:
        times: list[float] = []
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(1.0):
                async for row, each in reports(desk, AirList(desk.options.selection)):
                    assert row.sighting.name == "unit 1"
                    times.append(each.at)
        return times

    other = device_text(name="other", address="C4:00:00:00:00:02")
    times = at_desk(work, device_text(), other, selection=Selection(name="unit*"))
    assert len(times) == pytest.approx(40, abs=4)
    assert times == sorted(times)
