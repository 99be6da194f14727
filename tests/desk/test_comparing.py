"""Two inspections side by side."""

from __future__ import annotations

import copy
from pathlib import Path

import msgspec
import pytest

from benchrig.desk.comparing import Change, Comparison, compare
from benchrig.desk.inspection_file import Document, check_target, load_document, save_document
from benchrig.errors import StationError, UsageError
from tests.desk.kit import inspected
from tests.run.kit import device_text

DEVICE = """services:
  - service: device information
    characteristics:
      - {characteristic: model number, properties: [read], value: A}
      - {characteristic: serial number, properties: [read], value: '1'}
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 97 %}
"""


def compared(before: str, after: str, *, name: str = "unit 1") -> Comparison:
    return compare(inspected(device_text(before)), inspected(device_text(after, name=name)))


def test_a_device_is_like_itself() -> None:
    assert compared(DEVICE, DEVICE) == Comparison([], [], [], [], [])


def test_a_value_is_no_structure() -> None:
    found = compared(DEVICE, DEVICE.replace("97 %", "96 %"))
    assert found.same_structure
    [change] = found.values
    assert (change.where, change.before.value, change.after.value) == ("battery/battery level", 97, 96)


def test_what_comes_in_the_middle_moves_the_others_and_changes_none() -> None:
    more = "      - {characteristic: firmware revision, properties: [read], value: '1'}\n  - service: battery"
    found = compared(DEVICE, DEVICE.replace("  - service: battery", more))
    assert (found.added, found.removed, found.changed) == (["device information/firmware revision string"], [], [])
    assert found.moved == 2  # battery and battery level
    assert not found.same_structure


def test_a_service_goes_with_all_that_is_in_it() -> None:
    assert compared(DEVICE, DEVICE.partition("  - service: battery")[0]).removed == ["battery"]


def test_properties_and_the_descriptor_that_comes_with_them() -> None:
    found = compared(DEVICE, DEVICE.replace("[read], value: 97", "[read, notify], value: 97"))
    assert found.changed == [Change("battery/battery level", "properties", ["read"], ["read", "notify"])]
    assert found.added == ["battery/battery level/client characteristic configuration"]


def test_what_cannot_be_read_any_more() -> None:
    refused = DEVICE.replace("value: 97 %", "value: 97 %, on_read: {att_error: insufficient authentication}")
    [change] = compared(DEVICE, refused).changed
    assert (change.where, change.what, change.before) == ("battery/battery level", "access", "read")
    assert "insufficient authentication" in change.after


def test_one_more_of_the_same_is_the_last_of_them() -> None:
    twin = (
        "  - service: battery\n    characteristics:\n      - {characteristic: '2A19', properties: [read], value: 5 %}\n"
    )
    found = compared(DEVICE, DEVICE + twin)
    assert (found.added, found.removed, found.values) == (["battery[1]"], [], [])


def test_another_name_is_heard() -> None:
    found = compared(DEVICE, DEVICE, name="unit 2")
    assert found.advertising == [Change("advertising", "name", "unit 1", "unit 2")]
    assert found.same_structure


def test_services_count_only_where_the_payload_is_known() -> None:
    # Linux adds what it has seen in the table
    one, other = inspected(device_text(DEVICE)), inspected(device_text(DEVICE))
    other.advertising.services = ["0000180f-0000-1000-8000-00805f9b34fb"]
    found = compare(one, other)
    assert ([change.what for change in found.changed], found.same_structure) == (["services"], False)
    other.advertising.payload = None
    assert compare(one, other).same_structure


def test_what_an_operating_system_hides_and_subscribes_to_is_no_change() -> None:
    listened = "[read, notify], value: 97 %, notify: {period: 1 s}"
    one = inspected(device_text(DEVICE.replace("[read], value: 97 %", listened)))
    other = msgspec.structs.replace(one, whole_table=False, services=copy.deepcopy(one.services[1:]))
    [subscribed] = [each for service in other.services for char in service.characteristics for each in char.descriptors]
    assert subscribed.content is not None
    subscribed.content.raw = "01 00"
    assert [compare(*pair).same_structure for pair in ((one, other), (other, one))] == [True, True]
    assert (compare(one, other).values, compare(one, other).removed) == ([], [])


def test_another_presentation_format_is_another_structure() -> None:
    """The same bytes mean another value then."""
    own = """services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: 6b1d0009-9a53-4c86-8a3e-2f0f6c1d7e40
        as: hex
        properties: [read]
        value: '29 09'
        descriptors: [{descriptor: presentation format, raw: '0E FE 2F 27 01 00 00'}]
"""
    [change] = compared(own, own.replace("0E FE", "0E FF")).changed
    assert (change.what, change.where.split("/")[-1]) == ("format", "characteristic presentation format")


def test_what_else_is_advertised_otherwise_is_listed() -> None:
    one, other = inspected(device_text(DEVICE)), inspected(device_text(DEVICE))
    other.address_type = "public"
    other.advertising.tx_power = 0
    other.advertising.manufacturer_data = {"FFFF": "0201"}
    found = compare(one, other)
    assert [change.what for change in found.advertising] == ["address type", "tx power", "manufacturer data"]
    assert found.same_structure


@pytest.mark.parametrize("suffix", ["json", "yaml", "yml"])
def test_a_file_gives_back_what_was_saved(tmp_path: Path, suffix: str) -> None:
    odd = DEVICE.replace("value: '1'", r'raw: "00 1B 5B 0A C3 A9 E2 80 AE 31 32 3A 33 30"').replace(
        "value: A", "value: '1e5'"
    )
    document = Document(inspected(device_text(odd)), [])
    path = tmp_path / f"saved.{suffix}"
    check_target(path)
    save_document(document, path)
    assert load_document(path) == document


def test_a_file_that_is_something_else(tmp_path: Path) -> None:
    for name, text in (("a.json", "{}"), ("b.yaml", "- 1"), ("c.json", "{"), ("d.yaml", "a: ["), ("e.json", "\x00")):
        path = tmp_path / name
        path.write_text(text)
        with pytest.raises(UsageError, match="is not an inspection"):
            load_document(path)


def test_where_nothing_can_be_saved_is_found_beforehand(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="neither JSON nor YAML"):
        check_target(tmp_path / "saved.txt")
    with pytest.raises(UsageError, match="no folder"):
        check_target(tmp_path / "nowhere" / "saved.json")
    (tmp_path / "taken.json").mkdir()
    document = Document(inspected(device_text()), [])
    with pytest.raises(StationError, match="cannot be written"):
        save_document(document, tmp_path / "taken.json")


def test_a_comparison_survives_json() -> None:
    found = compared(DEVICE, DEVICE.partition("  - service: battery")[0])
    assert msgspec.json.decode(msgspec.json.encode(found), type=Comparison) == found
