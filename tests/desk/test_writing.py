"""Words as they are typed -> bytes, and one write to a device."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.desk.desk import Desk
from benchrig.desk.writing import Order, Sending, Written, prepare, send, value_of
from benchrig.errors import AttError, AttributeMissing, UnfitValue, UsageError
from benchrig.steps.attribute import AttributeSpec, Names
from benchrig.steps.payload import encode
from benchrig.values.format import Format, build_format, spec_from
from tests.desk.kit import at_desk
from tests.run.kit import device_text

UUID = "6b1d0030-9a53-4c86-8a3e-2f0f6c1d7e40"
MOTION = {
    "fields": [
        {"name": "speed", "as": "uint8", "scale": "0.1", "unit": "m/s"},
        {"name": "gaps", "as": "uint16", "unit": "ms", "list": True},
    ]
}
OWN = """services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: 6b1d0030-9a53-4c86-8a3e-2f0f6c1d7e40, as: sint16, scale: 0.01, unit: °C, KEYS}
"""


def own_device(keys: str = "properties: [read, write], value: 5 °C") -> str:
    return device_text(OWN.replace("KEYS", keys))


def names(**form: Any) -> Names:
    return Names({"own": AttributeSpec(uuid=UUID, **{"as_": "sint16", "unit": "°C", **form})})  # type: ignore[arg-type]


def written(order: Order, device: str, **form: Any) -> Written:
    async def work(desk: Desk) -> Written:
        _, link = await desk.reach()
        return await send(desk, link, await prepare(desk, link, order), Sending())

    return at_desk(work, device, names=names(**form))


def form(**spec: Any) -> Format:
    return build_format(spec_from(spec))


@pytest.mark.parametrize(
    ("words", "spec", "data"),
    [
        (["8 °C"], {"as": "sint16", "scale": "0.01", "unit": "°C"}, "20 03"),
        (["8", "°C"], {"as": "sint16", "scale": "0.01", "unit": "°C"}, "20 03"),
        (["46.4 °F"], {"as": "sint16", "scale": "0.01", "unit": "°C"}, "20 03"),
        (["-12"], {"as": "sint8"}, "F4"),
        (["0x1F"], {"as": "uint8"}, "1F"),
        (["true"], {"as": "boolean"}, "01"),
        (["idle"], {"as": "uint8", "words": {"0": "idle", "1": "logging"}}, "00"),
        (["12"], {"as": "utf8"}, "31 32"),
        (["true"], {"as": "utf8"}, "74 72 75 65"),
        (["two", "words"], {"as": "utf8"}, "74 77 6F 20 77 6F 72 64 73"),
        ([""], {"as": "utf8"}, ""),
        (["01", "A0"], {"as": "hex"}, "01 A0"),
        (["speed=2.5 m/s", "gaps=1 ms, 2 ms"], MOTION, "19 01 00 02 00"),
        (["speed=2.5", "m/s", "gaps="], MOTION, "19"),
    ],
)
def test_a_value_means_what_it_means_in_a_plan(words: list[str], spec: dict[str, Any], data: str) -> None:
    assert encode(form(**spec), value_of(form(**spec), words), None) == bytes.fromhex(data)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["2.5 m/s"], "expected field=value"),
        (["speed=1 m/s", "speed=2 m/s"], "given twice"),
        (["speed=1 m/s", "speed.x=2"], "structure at once"),
        (["pace=1"], "no field is named 'pace'"),
        (["speed=1", "gaps="], "has no unit"),
    ],
)
def test_what_makes_no_structure_is_said(words: list[str], said: str) -> None:
    with pytest.raises(UnfitValue, match=said):
        encode(form(**MOTION), value_of(form(**MOTION), words), None)


@given(st.lists(st.text(max_size=12), max_size=4))
def test_whatever_is_typed_gives_bytes_or_a_sentence(words: list[str]) -> None:
    for spec in ({"as": "uint8"}, {"as": "utf8"}, {"as": "hex"}, {"as": "date_time"}, MOTION):
        own = form(**spec)
        with contextlib.suppress(UnfitValue):
            assert isinstance(encode(own, value_of(own, words), None), bytes)


def test_what_was_written_and_what_is_there_now() -> None:
    done = written(Order("own", ("-12.34 °C",), read_back=True), own_device(), scale="0.01")
    assert (done.written.raw, done.written.value) == ("2EFB", -12.34)
    assert done.read_back is not None
    assert (done.read_back.value, done.error) == (-12.34, "")


def test_bytes_are_written_as_they_are() -> None:
    assert written(Order("own", data=b"\x01\x02"), own_device()).written.raw == "0102"


def test_a_value_that_is_not_kept_is_said() -> None:
    device = own_device("properties: [read, write], value: 5 °C, on_write: {store: false}")
    done = written(Order("own", ("800 °C",), read_back=True), device)
    assert done.error == "read back F4 01 after writing 20 03"


def test_a_refusal_has_its_name() -> None:
    refusing = own_device("properties: [read, write], value: 5 °C, on_write: {att_error: out of range}")
    with pytest.raises(AttError) as caught:
        written(Order("own", ("8 °C",)), refusing)
    assert caught.value.name == "out of range"


def test_nothing_is_sent_that_cannot_be_read_back() -> None:
    device = own_device("properties: [write, notify], value: 5 °C, on_write: {att_error: out of range}")
    with pytest.raises(AttributeMissing, match="does not offer read"):
        written(Order("own", ("8 °C",), read_back=True), device)


def test_what_takes_no_response_says_how_to_write_it() -> None:
    device = own_device("properties: [write without response], value: 5 °C")
    with pytest.raises(AttributeMissing) as caught:
        written(Order("own", ("8 °C",)), device)
    assert "--no-response" in caught.value.advice
    assert not written(Order("own", ("8 °C",), response=False), device).response


@pytest.mark.parametrize(
    ("order", "said"),
    [
        (Order("own", ("8",)), "8 has no unit"),
        (Order("onw", ("8 °C",)), "unknown attribute"),
        (Order("own", data=bytes(513)), "513 bytes are more"),
        (Order("own", ("8 °C",), response=False, read_back=True), "with response"),
    ],
)
def test_what_can_be_known_to_be_wrong_is_found_before_anything_is_opened(order: Order, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        order.check(names())


def test_a_format_that_the_device_says_itself_is_written_in() -> None:
    """0x2904: sint16, 10^-2, 0x272F degree Celsius (assigned numbers, format types and units)."""
    own = "6b1d0009-9a53-4c86-8a3e-2f0f6c1d7e40"
    device = device_text(f"""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: {own}
        as: hex
        properties: [read, write]
        value: '29 09'
        descriptors:
          - {{descriptor: presentation format, raw: '0E FE 2F 27 01 00 00'}}
""")
    assert written(Order(own, ("-3.5 °C",)), device).written.raw == "A2FE"
    with pytest.raises(UnfitValue, match="voltage"):
        written(Order(own, ("3 V",)), device)


def stopped_after(seconds: float, keys: str) -> str:
    """What is known of a write that is stopped so many seconds after it was begun."""

    async def work(desk: Desk) -> str:
        _, link = await desk.reach()
        prepared, sending = await prepare(desk, link, Order("own", ("8 °C",), read_back=True)), Sending()
        assert sending.state == "nothing was sent"
        writing = asyncio.ensure_future(send(desk, link, prepared, sending))
        await asyncio.wait({writing}, timeout=seconds)
        writing.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await writing
        return sending.state

    return at_desk(work, own_device(keys), names=names())


def test_whoever_stops_a_write_learns_how_far_it_came() -> None:
    silent = "properties: [read, write], value: 5 °C"
    assert stopped_after(1, f"{silent}, on_write: {{silent: true}}") == "the write may have reached the device"
    assert stopped_after(1, f"{silent}, on_read: {{silent: true}}") == "the device has confirmed the write"
