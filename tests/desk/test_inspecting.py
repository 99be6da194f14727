"""What an inspection holds."""

from __future__ import annotations

import msgspec
import pytest

from benchrig.desk.inspection import Inspection
from tests.desk.kit import inspected
from tests.run.kit import DEVICES, device_text

LOGGER = DEVICES / "logger.yaml"


def test_values_are_decoded_with_their_units_and_bytes() -> None:
    seen = inspected(LOGGER)
    [humidity] = [c for _, c in seen.characteristics() if c.name == "humidity"]
    assert humidity.content is not None
    assert (humidity.content.value, humidity.content.unit, humidity.content.raw) == (43.5, "%", "FE10")
    assert humidity.content.known_by == "assigned number"


def test_what_the_device_refuses_is_said_and_ends_nothing() -> None:
    unread = {c.uuid[:8]: c.unread for _, c in inspected(LOGGER).characteristics() if c.unread}
    assert unread["6b1d0006"] == "ATT error 0x02 (read not permitted)"
    assert unread["6b1d0004"] == "not readable"


def test_a_presentation_format_tells_how_an_own_value_reads() -> None:
    # 0x2904: sint16, 10^-2, 0x272F degree Celsius (Bluetooth SIG assigned numbers)
    seen = inspected(
        device_text("""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: 6b1d0009-9a53-4c86-8a3e-2f0f6c1d7e40
        as: hex
        properties: [read]
        value: '29 09'
        descriptors:
          - {descriptor: presentation format, raw: '0E FE 2F 27 01 00 00'}
""")
    )
    [(_, own)] = list(seen.characteristics())[-1:]
    assert own.content is not None
    assert (own.content.value, own.content.unit, own.content.known_by) == (23.45, "°C", "presentation format")


def test_it_survives_json() -> None:
    seen = inspected(LOGGER)
    assert msgspec.json.decode(msgspec.json.encode(seen), type=Inspection) == seen


def test_advertising_and_timing_are_there() -> None:
    seen = inspected(LOGGER)
    assert seen.advertising.payload is not None
    assert seen.advertising.payload.startswith("020106")
    assert seen.timing.discover is not None
    assert 0 < seen.timing.discover < seen.timing.connect
    assert seen.payload == 244


def test_properties_come_in_one_order() -> None:
    text = "services: [{service: battery, characteristics: [{characteristic: '2A19', properties: [notify, write, read], value: 9 %}]}]"
    [(_, level)] = list(inspected(device_text(text)).characteristics())[-1:]
    assert level.properties == ["read", "write", "notify"]


@pytest.mark.parametrize("way", ["disconnect: true", "silent: true"])
def test_a_link_that_a_read_ends_leaves_what_was_seen(way: str) -> None:
    own = "{{characteristic: 6b1d000{}-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read], value: 7{}}}"
    listed = ", ".join([own.format(1, ""), own.format(2, f", on_read: {{{way}}}"), own.format(3, "")])
    seen = inspected(
        device_text(f"services: [{{service: '6b1d0009-9a53-4c86-8a3e-2f0f6c1d7e40', characteristics: [{listed}]}}]")
    )
    first, fatal, last = [c for _, c in seen.characteristics()][-3:]
    assert first.content is not None
    assert fatal.unread.startswith("read 6b1d0002")
    assert last.unread == "not read: the link was lost before"
    assert seen.broken.startswith("the link was lost while the device was looked at")
    assert seen.payload == 244


def test_a_sound_link_is_not_broken() -> None:
    seen = inspected(LOGGER)
    assert (seen.broken, seen.notes, seen.outline) == ("", [], [])
