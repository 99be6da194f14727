"""What of advertised data stays the same over addresses, and what counts on."""

import random

import pytest

from benchrig.radio.scan import Report
from benchrig.radio.trackable import Content, constant, continues

BATTERY = "0000180f-0000-1000-8000-00805f9b34fb"


def contents(*addresses, **same):
    """The content of each address, from what it sends every second: manufacturer data, or the fields of a report."""
    made, at = [], 0.0
    for sent in addresses:
        content = Content()
        for one in sent:
            fields = one if isinstance(one, dict) else {"manufacturer_data": {0xFFFF: one}}
            base = {"name": None, "services": (), "manufacturer_data": {}, "service_data": {}, "tx_power": None}
            content.hear(Report(at, "A", "random", rssi=None, **{**base, **same, **fields}), lambda uuid: "battery")
            at += 1.0
        made.append(content)
    return made


@pytest.mark.parametrize(
    ("addresses", "expected"),
    [
        ([[{"name": "tag"}], [{"name": "tag"}]], ["name"]),
        ([[{"name": "tag"}], [{"name": "gat"}]], []),
        ([[{"name": "tag"}], [{}]], []),
        ([[{"services": (BATTERY,), "tx_power": 4}]] * 2, ["services", "tx power"]),
        ([[{"service_data": {BATTERY: b"\x01"}}]] * 2, ["service data battery"]),
        ([[b"\x01\x02"], [b"\x01\x02"], [b"\x01\x02"]], ["manufacturer data 0xFFFF"]),
        ([[b"\x01\x02"], [b"\x01\x02"], [b"\x01\x03"]], ["manufacturer data 0xFFFF, byte 0"]),
        ([[b"\x01\x02\x03\x04\x05", b"\x01\x02\x04\x04\x05"], [b"\x01\x02\x03\x04\x05"]], ["manufacturer data 0xFFFF, bytes 0-1, 3-4"]),
        ([[{"name": "tag"}], [{"name": "tag"}], [{}]], ["name"]),
        ([[b"\x01\x02\x03\x04", b"\x05\x06\x07\x08"] * 3] * 2, ["manufacturer data 0xFFFF"]),
        ([[b"\x01\x02\x03\x04", b"\x05\x06\x07\x08"] * 3, [b"\x09\x02\x03\x00", b"\x05\x0a\x0b\x09"] * 3], []),
        ([[b"\x01\x02", b"\x02\x01"] * 3] * 2, []),
        ([[b"\x01"], [b"\x02"]], []),
        ([[b"\x01"]], []),
        ([[{"payload": b"\x02\x01\x06\x07\x1b\x00\x01\x02\x03\x04\x05"}]] * 2, ["le bluetooth device address"]),
        ([[{"scan_response": b"\x03\x19\x41\x03", "payload": b"\x02\x01\x06"}]] * 2, ["appearance"]),
        ([[{"payload": b"\x02\x01\x06"}]] * 2, []),
    ],
)  # fmt: skip
def test_what_stays(addresses, expected):
    assert constant(contents(*addresses)) == expected


def counting(start, count, width=2, order="little", step=1, head=b"", tail=b""):
    return [head + ((start + n * step) % (1 << 8 * width)).to_bytes(width, order) + tail for n in range(count)]


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("width", [2, 4])
def test_a_counter_that_goes_on(width, order):
    for start in (0, 250, 65530, 1 << 8 * width - 3):
        parts = [counting(start + 10 * n, 10, width, order, head=bytes([n * 77 % 256])) for n in range(3)]
        assert continues(contents(*parts)) == ["manufacturer data 0xFFFF"], start


def test_a_counter_of_one_byte_needs_three_changes_of_address():
    parts = [counting(10 * n, 10, 1) for n in range(4)]
    assert continues(contents(*parts)) == ["manufacturer data 0xFFFF"]
    assert continues(contents(*parts[:3])) == [], "two could be chance"


def test_a_counter_that_goes_down():
    parts = [counting(5000 - 10 * n, 10, step=-1, head=bytes([n * 77 % 256])) for n in range(3)]
    assert continues(contents(*parts)) == ["manufacturer data 0xFFFF"]


def test_a_number_that_rises_with_each_address():
    parts = [[(700 + n).to_bytes(2, "little")] * 5 for n in range(4)]
    assert continues(contents(*parts)) == ["manufacturer data 0xFFFF"]


@pytest.mark.parametrize("count", [40, pytest.param(400, marks=pytest.mark.slow)])
def test_what_begins_anew_or_is_drawn_does_not_count_on(count):
    """A sound unit is not blamed, whatever the chance, of so many of them."""
    rng, blamed = random.Random(1), 0
    for _ in range(count):
        anew = [counting(rng.randrange(1 << 16), 10, head=rng.randbytes(4)) for _ in range(4)]
        blamed += bool(continues(contents(*anew)))
        noise = [[rng.randbytes(4) for _ in range(10)] for _ in range(4)]
        blamed += bool(continues(contents(*noise)))
        fresh = [[rng.randbytes(6)] * 10 for _ in range(4)]
        blamed += bool(continues(contents(*fresh)))
    assert blamed == 0


def test_a_slow_value_is_no_counter():
    """A temperature goes up and down."""
    wave = [2150, 2151, 2152, 2151, 2150, 2149]
    parts = [[(value).to_bytes(2, "little") for value in wave] for _ in range(4)]
    assert continues(contents(*parts)) == []
