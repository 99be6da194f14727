"""Advertising events whose scan response comes, comes late, or does not come: what the radio makes of them."""

import asyncio

import pytest

from benchrig.radio.bumble_stack import scanner
from benchrig.radio.scan import Ear, Selection
from benchrig.radio.specify import open_simulated
from tests.radio.reports import ADV_IND, ADV_NONCONN_IND, SCAN_RSP, extended, name_field, report

LATE = 2 * scanner.RESPONSE_WITHIN
TX_POWER = b"\x02\x0a\x04"


async def heard(*reports, seconds=5.0, **scan):
    """An ear that has heard these reports, (seconds since the start of the scan, packet)."""
    radio, ear, loop = await open_simulated([]), Ear(), asyncio.get_running_loop()
    host = radio.scanner_options["stack"].host
    async with radio.scanning(ear.add, **scan):
        ear.started = loop.time()
        for at, packet in reports:
            loop.call_later(at, host.on_packet, packet)
        await asyncio.sleep(seconds)
    await radio.close()
    return ear


async def unit(*reports, **options):
    ear = await heard(*reports, **options)
    (found,) = ear.heard.values()
    found.first_at -= ear.started
    return found


def event(name="VFL", **options):
    return report(name_field(name), kind=ADV_IND, **options)


def response(data=TX_POWER, **options):
    return report(data, kind=SCAN_RSP, **options)


async def test_one_event_without_a_response_is_heard_at_its_own_time():
    found = await unit((0.5, event()))
    assert (found.count, found.first_at) == (1, pytest.approx(0.5))


async def test_a_response_that_is_due_when_the_scan_stops_is_not_waited_for():
    assert (await unit((0.5, event()), seconds=0.501)).count == 1


async def test_events_a_second_apart():
    found = await unit(*((0.05 + second, event()) for second in range(3)))
    assert (found.count, found.first_at, found.interval) == (3, pytest.approx(0.05), pytest.approx(1.0))


@pytest.mark.parametrize("delay", [0, 0.001, LATE])
async def test_every_second_response_is_missed(delay):
    events = [(0.1 * number, event()) for number in range(1, 11)]
    found = await unit(*events, *((0.1 * number + delay, response()) for number in range(1, 11, 2)))
    assert (found.count, found.interval, found.tx_power) == (10, pytest.approx(0.1), 4)
    assert (found.payload, found.scan_response) == (name_field("VFL"), TX_POWER)


async def test_a_report_is_made_within_milliseconds():
    times = []
    radio, loop = await open_simulated([]), asyncio.get_running_loop()
    async with radio.scanning(lambda report: times.append((loop.time(), report.at))):
        started = loop.time()
        radio.scanner_options["stack"].host.on_packet(event())
        await asyncio.sleep(1)
    await radio.close()
    assert times == [(pytest.approx(started + scanner.RESPONSE_WITHIN), started)]


async def test_a_response_that_was_not_asked_for_is_nobodys():
    assert (await heard((0.1, response()))).heard == {}
    found = await unit((0.1, event(number=1)), (0.101, response(number=2)))
    assert found.tx_power is None


async def test_a_passive_scan_waits_for_nothing():
    found = await unit((0.1, event()), (0.1, response()), active=False)
    assert (found.count, found.tx_power) == (1, None)


async def test_a_complete_name_is_kept_over_a_short_one():
    short = report(name_field("VFL", complete=False), kind=ADV_IND)
    complete = response(name_field("VFL-0042"))
    found = await unit((0.1, short), (0.101, complete), (0.2, short))
    assert found.name == "VFL-0042"
    assert Selection(name="VFL-0042").accepts(found)


@pytest.mark.parametrize(
    ("first", "second", "kept"),
    [((False, "V"), (False, "VF"), "VF"), ((True, "A"), (True, "B"), "B"), ((False, "V"), (True, "VFL"), "VFL")],
)
async def test_otherwise_the_newest_name_counts(first, second, kept):
    packets = [report(name_field(name, complete=complete)) for complete, name in (first, second)]
    assert (await unit((0.1, packets[0]), (0.2, packets[1]))).name == kept


async def test_public_and_random_addresses_of_the_same_octets_are_two_devices():
    ear = await heard((0.1, event("A")), (0.2, event("B", public=True)))
    found = {(each.name, each.address_type): each.device.details.address_type for each in ear.heard.values()}
    assert found == {("A", "random"): "random", ("B", "public"): "public"}
    assert len({each.address for each in ear.heard.values()}) == 1


async def test_data_that_the_controller_cut_off_are_no_payload():
    cut = extended(0x40, name_field("VFL-1") + b"\x1f\xff\xff\xff")
    found = await unit((0.1, cut))
    assert (found.count, found.name, found.payload) == (1, "VFL-1", None)


async def test_a_burst_is_reported_as_soon_as_its_time_is_over(monkeypatch):
    """Real controllers deliver hundreds of events before the loop comes round again."""
    monkeypatch.setattr(scanner, "MOST_WAITING", 100)
    heard, radio = [], await open_simulated([])
    host, loop = radio.scanner_options["stack"].host, asyncio.get_running_loop()
    async with radio.scanning(heard.append):
        started = loop.time()
        for number in range(150):
            loop.call_at(started + number * 1e-5, host.on_packet, report(kind=ADV_IND, number=number))
        await asyncio.sleep(2e-3)
        assert len(heard) == 50, "no more than so many wait"
        await asyncio.sleep(scanner.RESPONSE_WITHIN)
        assert len(heard) == 150
    await radio.close()


@pytest.mark.parametrize("kind", [ADV_IND, ADV_NONCONN_IND])
async def test_a_crowd_of_addresses_fills_no_memory(monkeypatch, kind):
    for name in ("MOST_DEVICES", "MOST_PAST", "MOST_FRAGMENTS"):
        monkeypatch.setattr(scanner, name, 10)
    radio = await open_simulated([])
    stack = radio.scanner_options["stack"]
    async with radio.scanning(lambda report: None):
        (hears,) = stack._scanners
        for number in range(200):
            stack.host.on_packet(report(kind=kind, number=number))
            stack.host.on_packet(extended(0x20, b"part", number=number))
            await asyncio.sleep(LATE)
        sizes = [len(kept) for kept in (hears.seen_devices, hears._waiting, hears._past, hears._fragments)]
    await radio.close()
    assert max(sizes) <= 10
