"""Values that are wrong on their way out."""

import asyncio

import pytest

from benchrig.radio.virtual.distortion_spec import DistortionSpec
from benchrig.radio.virtual.words import Hex
from benchrig.values.format import FieldSpec, FormatSpec, build_format
from benchrig.values.spec import BitParts, Exact
from tests.radio.virtual.bench import VALUE, Bench, characteristic, problems_of

TWO = FormatSpec(fields=[FieldSpec(name="flags", as_="uint8", bits=BitParts.from_source({"on": 1})),
                         FieldSpec(name="speed", as_="uint16", when=1),
                         FieldSpec(name="level", as_="sint16", scale=Exact("0.01"))])  # fmt: skip


@pytest.mark.parametrize(
    ("form", "keys", "sound", "sent"),
    [
        (FormatSpec(as_="uint16"), {"how": "swapped bytes"}, "01 02", "02 01"),
        (FormatSpec(as_="uint16"), {"how": "moved by a byte"}, "01 02", "00 01"),
        (FormatSpec(as_="uint16"), {"how": "a byte short"}, "01 02", "01"),
        (FormatSpec(as_="uint16"), {"how": "a byte long"}, "01 02", "01 02 00"),
        (FormatSpec(as_="utf8"), {"how": "empty"}, "41 42", ""),
        (None, {"octets": Hex(b"\xff")}, "41 42", "FF"),
        (FormatSpec(as_="uint16"), {"times": Exact(10)}, "01 02", "0A 14"),
        (FormatSpec(as_="uint16"), {"times": Exact(-1)}, "01 00", "FF FF"),
        (FormatSpec(as_="sint16", order="big"), {"times": Exact("1.8"), "plus": Exact(32)}, "00 64", "00 D4"),
        (FormatSpec(as_="uint8", offset=Exact(40)), {"plus": Exact(250)}, "0A", "04"),
        (FormatSpec(as_="float32"), {"times": Exact("0.1")}, "00 00 C8 41", "00 00 20 40"),
        (FormatSpec(as_="medfloat16"), {"times": Exact(10)}, "72 F1", "72 01"),
        (FormatSpec(as_="medfloat16"), {"times": Exact(10)}, "FF 07", "FF 07"),
        (FormatSpec(as_="uint16"), {"inverted": 0x0100}, "00 00", "00 01"),
        (TWO, {"field": "level", "how": "swapped bytes"}, "00 01 02", "00 02 01"),
        (TWO, {"field": "level", "how": "moved by a byte"}, "01 07 00 01 02", "01 07 00 00 01"),
        (TWO, {"field": "speed", "octets": Hex(b"\xff\xff")}, "01 07 00 01 02", "01 FF FF 01 02"),
        (TWO, {"field": "speed", "how": "swapped bytes"}, "00 01 02", "00 01 02"),
        (TWO, {"field": "flags", "inverted": 1}, "00 01 02", "01 01 02"),
        (TWO, {"field": "level", "times": Exact(2)}, "01", "01"),
    ],
)
def test_what_is_sent(form, keys, sound, sent):
    built = build_format(form) if form else None
    distorted = DistortionSpec(**keys)
    assert (list(distorted.misfits()), list(distorted.misfits_of(built))) == ([], [])
    assert distorted.apply(bytes.fromhex(sound), built).hex() == bytes.fromhex(sent).hex()


def device(**keys):
    return characteristic(**{"characteristic": VALUE, "properties": "[read, write, notify]", **keys})


async def test_what_is_read_and_what_is_notified_also_of_what_was_written():
    text = device(**{"as": "uint16", "distorted": "{times: 10}", "value": 1, "notify": "{period: 1 s, count: 1}"})
    async with Bench(text) as bench:
        client = await bench.connect("one")
        first = await client.read_gatt_char(VALUE)
        await client.write_gatt_char(VALUE, b"\x07\x00", response=True)
        heard = []
        await client.start_notify(VALUE, lambda _, value: heard.append(bytes(value)))
        second = await client.read_gatt_char(VALUE)
        await asyncio.sleep(2)
        assert (first, second, heard) == (b"\x0a\x00", b"\x46\x00", [b"\x46\x00"])


@pytest.mark.parametrize(
    ("as_", "distorted", "message"),
    [
        ("uint16", "{how: swapped bytes, times: 2}", "a value is distorted in one way"),
        ("uint16", "{field: x}", "a value is distorted in one way"),
        ("uint16", "{field: x, how: swapped bytes}", "this value has no field 'x'"),
        ("uint16", "{field: x, how: empty}", "'empty' is about the whole value"),
        ("uint16", "{inverted: 0}", "expected the bits to invert"),
        ("utf8", "{times: 2}", "only a number can be multiplied"),
    ],
)
def test_what_a_device_file_cannot_say(as_, distorted, message):
    value = "text" if as_ == "utf8" else 1
    found = problems_of(device(**{"as": as_, "value": value, "distorted": distorted}))
    assert any(message in one for one in found)
