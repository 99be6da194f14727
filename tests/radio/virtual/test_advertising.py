"""Advertising payloads and HCI reports, against published octets and against bumble's own classes."""

import asyncio

import pytest
from bumble import hci
from hypothesis import given
from hypothesis import strategies as st

from benchrig.radio.bumble_stack.advertising import (
    Advertised,
    build,
    parse,
    structures_of,
    uuid_octets,
)
from benchrig.radio.bumble_stack.reports import is_report, reports
from benchrig.values.advertising import Structure, split, uuid_text
from tests.radio.virtual.bench import Bench

BASE = "0000{}-0000-1000-8000-00805f9b34fb".format
OWN_UUID = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"

# Payloads that bumble and tshark read the same way (types: Bluetooth SIG assigned numbers 2026).
READ_ALIKE = [
    (
        "020106 03030D18 0A0962656E63682D647574",
        {"flags": 6, "services": [BASE("180d")], "name": "bench-dut", "name_is_complete": True},
    ),
    ("020A04", {"tx_power": 4}),
    ("020AF4", {"tx_power": -12}),
    ("05FF5900ABCD", {"manufacturer_data": {0x59: b"\xab\xcd"}}),
    ("04160F1855", {"service_data": {BASE("180f"): b"\x55"}}),
    ("05161A182909", {"service_data": {BASE("181a"): b"\x29\x09"}}),
    ("03194103", {"appearance": 0x0341}),
    ("1107 407E1D6C0F2F3E8A864C539A02001D6B", {"services": [OWN_UUID]}),
]


@pytest.mark.parametrize(("octets", "expected"), READ_ALIKE, ids=[octets for octets, _ in READ_ALIKE])
def test_payloads_are_read_and_built(octets, expected):
    payload = bytes.fromhex(octets)
    said = Advertised(**expected)
    assert parse(payload) == said
    assert build(structures_of(said)) == payload


@pytest.mark.parametrize("octets", ["051206005000", "031AA000"])
def test_other_structures_are_kept_as_they_are(octets):
    """Connection interval range and advertising interval (seen alike by tshark)."""
    payload = bytes.fromhex(octets)
    assert split(payload).structures == [Structure(payload[1], payload[2:])]
    assert parse(payload) == Advertised()


def test_a_zero_length_ends_what_means_something():
    assert split(bytes.fromhex("0201060000000000")).structures == [Structure(1, b"\x06")]
    assert parse(bytes.fromhex("02010600 020A04")).tx_power is None


def test_a_structure_that_runs_past_the_end_is_dropped_whole():
    """tshark flags it as malformed; a lax reader makes the name 'A' of it."""
    payload = bytes.fromhex("020106 090941")
    assert parse(payload) == Advertised(flags=6)
    assert split(payload).rest == bytes.fromhex("090941")


@pytest.mark.parametrize(
    "octets",
    [
        "0303 0D",
        "0403 0D18 55",
        "0216 0F",
        "02FF 59",
        "030A 0404",
        "0219 41",
        "0201",
        "01",
        "0107",
        "0116",
        "01FF",
        "010A",
    ],
)
def test_data_that_do_not_fit_their_type_say_nothing(octets):
    assert parse(bytes.fromhex(octets)) in (Advertised(), Advertised(services=[]))


def test_a_complete_name_wins_over_a_short_one():
    short, complete = bytes.fromhex("030841 42"), bytes.fromhex("04094142 43")
    assert parse(short, complete).name == parse(complete, short).name == "ABC"


def test_a_name_that_is_no_utf8_is_shown_with_replacements():
    assert parse(bytes.fromhex("0309 41FF")).name == "A\ufffd"


def test_a_structure_too_long_to_build():
    with pytest.raises(ValueError, match="255 bytes"):
        build([Structure(0xFF, bytes(255))])


@given(st.lists(st.binary(max_size=64), max_size=3))
def test_any_octets_are_read(payloads):
    said = parse(*payloads)
    assert all(len(uuid) == 36 for uuid in [*said.services, *said.service_data])


@given(st.lists(st.tuples(st.integers(0, 255), st.binary(max_size=254)), max_size=5))
def test_split_undoes_build(structures):
    structures = [Structure(kind, data) for kind, data in structures]
    assert split(build(structures)) == (structures, b"")


@given(st.uuids().map(str) | st.integers(0, 0xFFFFFFFF).map(lambda n: f"{n:08x}-0000-1000-8000-00805f9b34fb"))
def test_uuids_survive(uuid):
    assert uuid_text(uuid_octets(uuid)) == uuid


EXTENDED = hci.HCI_LE_Extended_Advertising_Report_Event
LEGACY = hci.HCI_LE_Advertising_Report_Event
ADDRESS = hci.Address("C0:11:22:33:44:55", hci.Address.RANDOM_DEVICE_ADDRESS)


def extended(event_type, data, rssi=-60):
    report = EXTENDED.Report(
        event_type=event_type,
        address_type=1,
        address=ADDRESS,
        primary_phy=1,
        secondary_phy=0,
        advertising_sid=0xFF,
        tx_power=0x7F,
        rssi=rssi,
        periodic_advertising_interval=0,
        direct_address_type=0,
        direct_address=hci.Address.ANY,
        data=data,
    )
    return bytes(EXTENDED([report]))


@pytest.mark.parametrize(
    ("event_type", "flags"),
    [
        (0x13, (True, True, False)),
        (0x12, (False, True, False)),
        (0x10, (False, False, False)),
        (0x1B, (True, True, True)),
    ],
)
def test_extended_reports_as_bumble_writes_them(event_type, flags):
    packet = extended(event_type, b"\x02\x01\x06")
    assert is_report(packet)
    (pdu,) = reports(packet)
    assert (pdu.connectable, pdu.scannable, pdu.scan_response) == flags
    assert (pdu.address, pdu.is_random, pdu.rssi, pdu.data) == (bytes(ADDRESS), True, -60, b"\x02\x01\x06")


@pytest.mark.parametrize(
    ("kind", "flags"), [(0, (True, True, False)), (3, (False, False, False)), (4, (False, False, True))]
)
def test_legacy_reports_as_bumble_writes_them(kind, flags):
    report = LEGACY.Report(event_type=kind, address_type=0, address=ADDRESS, data=b"\x02\x01\x06", rssi=-60)
    (pdu,) = reports(bytes(LEGACY([report])))
    assert (pdu.connectable, pdu.scannable, pdu.scan_response) == flags
    assert (pdu.is_random, pdu.rssi, pdu.data) == (False, -60, b"\x02\x01\x06")


@given(st.binary(max_size=80), st.sampled_from([2, 13]), st.integers(0, 255))
def test_any_report_is_read(body, subevent, count):
    packet = bytes((4, 0x3E, len(body) + 2, subevent, count)) + body
    if is_report(packet):
        assert all(len(pdu.address) == 6 for pdu in reports(packet))


async def test_data_that_come_in_several_reports_are_joined():
    async with Bench("others: [{advertising: {connectable: false}}]") as bench:
        heard = []
        async with bench.scanner(lambda _, said: heard.append(said.local_name)):
            bench.stack.host.on_packet(extended(0x20, b"\x09\x09logg"))
            bench.stack.host.on_packet(extended(0x00, b"er-2"))
            await asyncio.sleep(0)
        assert heard == ["logger-2"]


async def test_a_failing_detection_callback_is_reported_and_harms_nothing():
    reported = []
    async with Bench() as bench:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: reported.append(context["exception"]))
        async with bench.scanner(lambda device, said: 1 / 0):
            await asyncio.sleep(0.3)
    assert reported
    assert {type(exc) for exc in reported} == {ZeroDivisionError}
