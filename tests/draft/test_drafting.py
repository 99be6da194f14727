"""What drafts make of particular things."""

from __future__ import annotations

import pytest

from benchrig.draft.compose import compose
from benchrig.draft.evidence import Evidence, KnownUnit, StreamSeen
from benchrig.draft.from_devices import Collecting, collect
from benchrig.errors import DeviceNotFound, UsageError
from benchrig.plan.loader import load_plan
from benchrig.propose.proposal import Basis
from benchrig.radio.scan import Selection
from benchrig.steps.attribute import Names
from benchrig.study.tolerance import Group
from tests.desk.kit import at_desk
from tests.draft.devices import CLOCK, PRESENTED, SHELVES, TWINS
from tests.draft.kit import changed, drafted, failures, limit_of, lines_about, loaded, seen
from tests.run.kit import DEVICES, PLANS, device_text, plan_text

LOGGER = (DEVICES / "logger.yaml").read_text(encoding="utf-8")
NAMES = load_plan(PLANS / "end_of_line.yaml").names


def test_names_and_formats_of_a_plan_are_kept():
    text = drafted(LOGGER, names=NAMES).text
    assert failures(text, LOGGER) == {}
    assert limit_of(text, "read: alarm limit", "value") == "{equals: 5 °C}"
    assert limit_of(text, "notify: log stream", "value.supply") == "{min: 2685 mV, max: 3285 mV}"
    assert "attribute" not in failures(text, changed(LOGGER, "value: 5 °C", "value: 6 °C"))["read alarm limit"]


def test_a_counter_is_told_from_what_is_measured():
    text = drafted(LOGGER, names=NAMES).text
    assert limit_of(text, "notify: log stream", "value.number") == "{min: 0, max: 65535}"
    assert "0 to 199, a counter: any legal value" in "".join(lines_about(text, "notify: log stream"))


def test_a_presentation_format_gives_an_own_name_its_format_and_a_description_its_word():
    text = drafted(PRESENTED).text
    assert "brine inlet: {uuid: 5c2a0002-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: sint16, scale: 0.01, unit: °C}" in text
    assert limit_of(text, "read: own 5c2a0003", "value") == """{equals: 'ready: #1, "ok" $$HOME $${x} ''$$$$'''}"""


MESSAGE = """services:
  - service: 5c2a0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - {characteristic: 5c2a0002-77aa-4f0e-9d3b-0a1b2c3d4e5f, properties: [read], raw: HEX}
"""


def test_bytes_that_are_a_text_are_drafted_as_one_and_others_are_not():
    device = device_text(MESSAGE.replace("HEX", "72 65 61 64 79"))
    text = drafted(device).text
    assert limit_of(text, "read: own 5c2a0002", "value") == "{equals: ready}"
    assert "format: {as: utf8}" in "".join(lines_about(text, "read: own 5c2a0002"))
    assert "# guess: text (utf8), for all its bytes are printable" in text
    assert failures(text, device) == {}
    assert "utf8" not in drafted(changed(device, "72 65 61", "72 00 61")).text


def test_clocks_may_say_any_time():
    text = drafted(CLOCK).text
    assert limit_of(text, "read: date time", "value") == r"{matches: '\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}'}"
    assert lines_about(text, "read: current time")[0] == "# value.day_of_week: no limit: it moves with time"
    assert failures(text, changed(CLOCK, "raw: EA 07 0B 19 0C 00 00 03", "raw: EB 07 01 01 0D 3B 00 05")) == {}


def test_bytes_that_differ_are_judged_by_their_length():
    assert limit_of(drafted(CLOCK).text, "read: own 5c2b0003", "value") == "{length: {min: 2, max: 3}}"


def test_attributes_of_one_name_are_told_apart():
    plan = loaded(drafted(TWINS).text)
    assert [step.name for step in plan.steps if step.kind.verb == "read"] == [
        "read battery/battery level[0]",
        "read battery/battery level[1]",
        "read battery[1]/battery level",
        "read environmental sensing/temperature[0]",
        "read environmental sensing/temperature[1]",
        "read 5c2c0001-77aa-4f0e-9d3b-0a1b2c3d4e5f/temperature",
    ]


WRITE_ONLY = """services:
  - service: 5c2d0001-77aa-4f0e-9d3b-0a1b2c3d4e5f
    characteristics:
      - {characteristic: 5c2d0002-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: hex, properties: [write], value: '00'}
      - {characteristic: 5c2d0003-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: hex, properties: [notify], cccd: false, value: '00'}
      - {characteristic: 5c2d0004-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: hex, properties: [notify], value: '00'}
"""


def test_what_cannot_be_read_or_is_silent_is_in_the_table_and_in_remarks():
    text = drafted(device_text(WRITE_ONLY)).text
    assert [step.kind.verb for step in loaded(text).steps] == ["scan", "connect", "discover", "disconnect"]
    assert "          own 5c2d0002: [write]\n" in text
    assert "# own 5c2d0003: subscribe to" in text
    assert "# own 5c2d0004: sent nothing in 2 subscriptions of 5 s" in text


def test_an_assigned_value_that_does_not_fit_its_format_is_judged_as_bytes():
    services = "services:\n  - service: battery\n    characteristics:\n      - {characteristic: battery level, properties: [read], raw: 61 00}\n"
    text = drafted(device_text(services)).text
    assert limit_of(text, "read: battery level", "value") == "{equals: 61 00}"
    assert "do not fit the format" in text
    assert failures(text, device_text(services)) == {}


def test_a_characteristic_with_the_uuid_of_its_service():
    same = "5c2d0001-77aa-4f0e-9d3b-0a1b2c3d4e5f"
    services = f"services:\n  - service: {same}\n    characteristics:\n      - {{characteristic: {same}, as: hex, properties: [read], value: '07'}}\n"
    assert failures(drafted(device_text(services)).text, device_text(services)) == {}


def test_units_with_different_tables_have_in_common_what_all_have():
    other = changed(SHELVES[1], "      - {characteristic: model number, properties: [read], value: Shelf 2}\n", "")
    text = drafted(SHELVES[0], other).text
    assert "    extra: allowed\n" in text
    assert "# model number: not on C4:00:00:00:01:02, so it is left out" in text
    assert failures(text, other) == failures(text, SHELVES[0]) == {}


def test_units_that_refuse_at_times_are_only_remarked():
    other = changed(SHELVES[1], "value: Shelf 2}", "value: Shelf 2, on_read: {att_error: read not permitted}}")
    text = drafted(SHELVES[0], other).text
    assert "# model number: answered with read not permitted at times; no step reads it" in text
    assert failures(text, other) == {}


def test_fields_that_are_not_always_there_have_no_limit():
    # Heart Rate Measurement (Bluetooth SIG GSS 2026): flags 0x00, 60 bpm; flags 0x10 with an RR interval of 1 s
    values = [bytes.fromhex("003C"), bytes.fromhex("103C0004")]
    stream = StreamSeen("heart rate measurement", "a", 5.0, 2, 1.0, Group.of([1.0]), values)
    evidence = Evidence(met=[KnownUnit("a", "Pulse", "a")], heard=[stream])
    lines = lines_about(compose(evidence, Names(), Basis()).text, "notify: heart rate measurement")
    assert "# value.flags: no limit: the flags differ" in lines
    assert "# value.rr_interval: no limit: the field is not always there" in lines
    assert "value.heart_rate: {min: 53 bpm, max: 67 bpm}" in lines


def test_the_select_pattern_of_the_person_stands():
    made = compose(seen(*SHELVES[:2]), Names(), Basis(), Selection(name="Sh*"))
    assert "select: {name: 'Sh*'}" in made.text


def test_without_a_name_services_or_company_the_address_picks_the_unit():
    nameless = "device: x\naddress: 'C4:00:00:00:00:09'\nadvertising: {data: {flags: 0x06}}\nservices: []\n"
    evidence = at_desk(lambda desk: collect(desk, Collecting(repeat=1)), nameless)
    assert "select: {address: 'C4:00:00:00:00:09'}" in compose(evidence, Names(), Basis()).text


def test_a_draft_from_nothing_is_refused():
    with pytest.raises(UsageError, match="how the unit is picked"):
        compose(Evidence(), Names(), Basis())


def test_units_that_are_not_heard_are_missed():
    how = Collecting(each=True, units=3)
    with pytest.raises(DeviceNotFound, match=r"2 of 3 devices .* were heard in 6 s"):
        at_desk(lambda desk: collect(desk, how), *SHELVES[:2], selection=Selection(name="Shelf*"), within=6.0)


def test_coverage_and_confidence_widen_the_limits():
    def width(basis: Basis) -> float:
        text = compose(seen(*SHELVES), Names(), basis).text
        low, high = (part.split()[1] for part in limit_of(text, "read: temperature", "value").split(","))
        return float(high) - float(low)

    assert width(Basis(0.999, 0.9)) < width(Basis(0.999, 0.99)) < width(Basis(0.9999, 0.99))


def test_nothing_is_written_to_the_device():
    # a device that reboots on any write would not be there for the second look
    services = WRITE_ONLY.replace(
        "properties: [write], value: '00'", "properties: [read, write], value: '00', on_write: {reboot: 9 s}"
    )
    assert failures(drafted(device_text(services)).text, device_text(services)) == {}


def test_a_name_is_not_ambiguous_on_any_unit():
    second = "      - {characteristic: battery level, name: second, properties: [read], value: 50 %}\n"
    other = changed(SHELVES[1], "value: 93 %}\n", "value: 93 %}\n" + second)
    text = drafted(SHELVES[0], other).text
    assert lines_about(text, "read: 'battery/battery level[0]'")
    assert failures(text, other) == failures(text, SHELVES[0]) == {}


def test_a_name_of_a_plan_for_one_of_several_keeps_its_format():
    attributes = (
        "    lid: {uuid: 0x2A6E, service: 5c2c0001-77aa-4f0e-9d3b-0a1b2c3d4e5f, as: sint16, scale: 0.1, unit: K}"
    )
    names = loaded(plan_text("", attributes=attributes)).names
    text = drafted(TWINS, names=names).text
    assert limit_of(text, "read: lid", "value") == "{min: 188.9 K, max: 231.1 K}"
    assert failures(text, TWINS) == {}


def test_words_that_differ_are_one_of_several():
    services = """services:
  - service: heart rate
    characteristics:
      - {characteristic: body sensor location, properties: [read], value: {sequence: [wrist, chest]}}
"""
    text = drafted(device_text(services)).text
    assert limit_of(text, "read: body sensor location", "value") == "{one_of: [chest, wrist]}"


def test_the_time_to_listen_stands_as_it_was_given():
    text = drafted(TWINS, listen=2.125, repeat=1).text
    assert "for: 2.125 s" in lines_about(text, "notify: 'battery/battery level[1]'")


def test_a_stream_without_order_has_no_limit_on_its_rate():
    gaps = Group.of([0.1, 2.0, 0.1, 0.1, 2.5])
    stream = StreamSeen("battery level", "a", 5.0, 6, 5 / 4.8, gaps, [b"\x50"] * 6)
    evidence = Evidence(met=[KnownUnit("a", "Pulse", "a")], heard=[stream])
    lines = lines_about(compose(evidence, Names(), Basis()).text, "notify: battery level")
    assert [line for line in lines if line.startswith(("count", "rate", "gap"))] == ["count: {min: 1, max: 13}"]


def test_a_stream_that_stops_has_no_limit_that_its_own_unit_breaks():
    gaps = Group.of([0.4, 0.41])
    stream = StreamSeen("battery level", "a", 5.0, 3, 2 / 0.81, gaps, [b"\x50"] * 3)
    evidence = Evidence(met=[KnownUnit("a", "Pulse", "a")], heard=[stream])
    lines = lines_about(compose(evidence, Names(), Basis()).text, "notify: battery level")
    assert [line for line in lines if line.startswith(("count", "rate", "gap"))] == ["count: {min: 1, max: 7}"]


@pytest.mark.parametrize(("refused", "passes"), [(1, True), (2, False)])
def test_one_request_may_be_lost(refused, passes):
    text = drafted(device_text()).text
    found = failures(text, device_text(more=f"faults: {{refuse_connections: {refused}}}"))
    assert ("connect" not in found) == passes, found
