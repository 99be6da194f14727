"""discover, read and write through whole runs: the table, addressing, descriptors, ATT errors, read back."""

from __future__ import annotations

import pytest

from benchrig.errors import PlanError
from benchrig.radio.link import Link
from benchrig.record.events import NotJudged
from tests.run.kit import Ran, device_text, plan_text, run

OWN = "7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001"
DEVICE = device_text(f"""
services:
  - service: battery service
    characteristics:
      - {{characteristic: battery level, properties: [read, notify], value: 91 %}}
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        name: shelf
        properties: [read]
        value: 4 °C
        descriptors: [{{descriptor: user description, value: Shelf, writable: true}}]
      - {{characteristic: temperature, name: door, properties: [read], value: 8 °C}}
  - service: {OWN}
    characteristics:
      - {{characteristic: '7b1f0002-4d1e-4b6f-9a57-2f3c1de0a001', name: limit, as: sint16, scale: 0.01, unit: °C,
          valid_min: -40, valid_max: 60, properties: [read, write], value: 5 °C}}
      - {{characteristic: '7b1f0003-4d1e-4b6f-9a57-2f3c1de0a001', name: deaf, as: uint8, properties: [read, write],
          value: 7, on_write: {{store: false}}}}
      - {{characteristic: '7b1f0004-4d1e-4b6f-9a57-2f3c1de0a001', name: command, as: hex,
          properties: [read, write without response], value: '00'}}
      - {{characteristic: '7b1f0005-4d1e-4b6f-9a57-2f3c1de0a001', name: secret, as: hex, properties: [read, write],
          value: '00', on_read: {{att_error: read not permitted}}, on_write: {{att_error: 0x80}}}}
""")
NAMES = """
    limit: {uuid: 7b1f0002-4d1e-4b6f-9a57-2f3c1de0a001, as: sint16, scale: 0.01, unit: °C}
    deaf: {uuid: 7b1f0003-4d1e-4b6f-9a57-2f3c1de0a001, as: uint8}
    command: {uuid: 7b1f0004-4d1e-4b6f-9a57-2f3c1de0a001, as: hex}
    secret: {uuid: 7b1f0005-4d1e-4b6f-9a57-2f3c1de0a001, as: hex}
    second probe: {uuid: 0x2A6E, index: 1}
"""


def ran(steps: str) -> Ran:
    return run(plan_text(steps, attributes=NAMES), DEVICE)


def table(expected: str, more: str = "") -> str:
    return ran(f"  - discover:\n{more}    expect: {{table: {{{expected}}}}}\n").ended.message


# --- discover


def test_a_characteristic_by_its_handle() -> None:
    handle = handle_of("door")
    assert table(f"environmental sensing: {{temperature: [read], handle {handle}: [read]}}") == ""
    assert table(f"environmental sensing: {{handle {handle}: [write]}}", "    extra: allowed\n") == (
        f"environmental sensing/handle {handle} lacks write and also has read"
    )
    assert table("battery service: {battery level: [], handle 0x0FFF: []}") == (
        "battery service/handle 0x0FFF is missing"
    )
    assert table(f"battery service: {{battery level: [], handle {handle}: []}}").endswith("is missing"), "not in it"


@pytest.mark.parametrize(
    ("expected", "message"),
    [
        ("battery: {battery level: [read], '2A19': []}", "'battery level' and '2A19' are the same characteristic"),
        ("environmental sensing: {temperature: [], 'temperature[0]': []}", "are the same characteristic"),
        ("battery: {battery level: [read]}, battery service: {battery level: [write]}", "are the same service"),
        ("battery: {}, 'battery[1]': {}", "are the same service"),
        ("'battery[1]': {}, battery: {}", "are the same service"),
        ("battery: {heart rate/battery level: [read]}", "'heart rate/battery level' is a path; a table lists"),
        ("battery: {user description: []}", "'user description' is a descriptor; a table lists characteristics"),
    ],
)
def test_a_table_that_no_unit_could_have(expected: str, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        table(expected)


TWICE = device_text("""
services:
  - service: battery
    characteristics: [{characteristic: battery level, properties: [read], value: 91 %}]
  - service: battery
    characteristics: [{characteristic: battery level, name: second, properties: [read, notify], value: 12 %}]
""")


@pytest.mark.parametrize(
    ("expected", "message"),
    [
        ("'battery[0]': {battery level: [read]}, 'battery service[1]': {battery level: [read, notify]}", ""),
        ("'battery[1]': {battery level: [read]}", "battery[1]/battery level also has notify"),
        ("'battery[2]': {}", "service battery[2] is missing"),
        ("battery: {battery level: []}", "the table has service battery 2 times"),
    ],
)
def test_a_service_that_stands_twice(expected: str, message: str) -> None:
    done = run(plan_text(f"  - discover:\n    expect: {{table: {{{expected}}}}}\n"), TWICE)
    assert done.ended.message == message


def test_the_expected_table_passes() -> None:
    assert table("battery service: {battery level: [notify, read]}") == ""
    assert table("battery service: {battery level: []}") == "", "an empty list leaves the properties open"


@pytest.mark.parametrize(
    ("expected", "difference"),
    [
        ("heart rate: {body sensor location: [read]}", "service heart rate is missing"),
        ("battery service: {battery level: [], model number: []}", "battery service/model number is missing"),
        ("environmental sensing: {temperature: [read]}", "environmental sensing/temperature is unexpected (handle 0x"),
        ("battery service: {battery level: [read]}", "battery service/battery level also has notify"),
        (
            "battery service: {battery level: [read, write]}",
            "battery service/battery level lacks write and also has notify",
        ),
    ],
)
def test_a_difference_is_named(expected: str, difference: str) -> None:
    assert table(expected).startswith(difference)


def test_a_service_may_have_more_when_the_plan_allows_it() -> None:
    assert table("environmental sensing: {temperature: [read]}", "    extra: allowed\n") == ""


def test_no_other_service_may_be_there_when_the_plan_forbids_it() -> None:
    listed = "battery service: {battery level: []}, environmental sensing: {temperature: [], 'temperature[1]': []}"
    whole = f"{listed}, {OWN}: {{limit: [], deaf: [], command: [], secret: []}}"
    assert table(listed) == ""
    assert table(listed, "    extra: forbidden\n").startswith(f"service {OWN} is unexpected (handle 0x")
    assert table(whole, "    extra: forbidden\n") == "", "generic access and generic attribute are everywhere"
    missing = whole.replace(", secret: []", "")
    assert f"{OWN}/secret is unexpected" in table(missing, "    extra: forbidden\n")


def test_several_differences_are_named_together() -> None:
    message = table("heart rate: {}, battery service: {battery level: [read]}")
    assert message == "service heart rate is missing; battery service/battery level also has notify"


def test_the_other_readings_of_discover() -> None:
    limits = "services: {contains: battery service}, elapsed: {max: 2 s}"
    assert ran(f"  - discover:\n    expect: {{{limits}}}\n").ended.exit_code == 0
    limits = "services: {contains: heart rate}, elapsed: {max: 1 ms}"
    failed = ran(f"  - discover:\n    expect: {{{limits}}}\n")
    assert (failed.ended.exit_code, [r.judgement.passed for r in failed.step(3).readings]) == (1, [False, False])


# --- addressing


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("temperature[0]", "4 °C"),
        ("temperature[1]", "8 °C"),
        ("second probe", "8 °C"),
        ("environmental sensing/temperature[1]", "8 °C"),
        ("0x2A6E[1]", "8 °C"),
        ("2A19", "91 %"),
        (f"{OWN}/limit", "5 °C"),
        ("temperature[0]/user description", "Shelf"),
    ],
)
def test_ways_to_name_an_attribute(name: str, value: str) -> None:
    result = ran(f"  - read: '{name}'\n    expect: {{value: {{equals: {value}}}}}\n")
    assert result.ended.exit_code == 0, result.ended.message


def handle_of(name: str) -> str:
    """As the ambiguity message gives it."""
    message = ran("  - read: temperature\n").ended.message
    return message.split("handle ")[1][:6] if name == "shelf" else message.split("handle ")[2][:6]


def test_an_attribute_by_its_handle() -> None:
    handle = handle_of("door")
    step = f"  - read: handle {handle}\n    format: {{as: sint16, scale: 0.01, unit: °C}}\n"
    assert ran(step + "    expect: {value: {equals: 8 °C}}\n").ended.exit_code == 0
    assert ran(step + "    expect: {value: {equals: 4 °C}}\n").ended.exit_code == 1


def test_an_ambiguous_name_lists_its_candidates() -> None:
    ended = ran("  - read: temperature\n").ended
    assert (ended.verdict, ended.cause) == ("fail", "device")
    assert ended.message.startswith("'temperature' is ambiguous, 2 attributes answer to it: ")
    assert ended.message.count("environmental sensing/temperature (handle 0x") == 2


@pytest.mark.parametrize("name", ["humidity", "temperature[2]", "handle 0x0FFF", "battery service/temperature"])
def test_an_attribute_that_is_not_there(name: str) -> None:
    ended = ran(f"  - read: {name}\n").ended
    assert (ended.verdict, ended.cause, ended.message) == ("fail", "device", f"the device has no attribute '{name}'")


# --- read


def test_every_reading_of_read() -> None:
    limits = "value: {max: 100 %}, raw: {equals: '5B'}, length: {equals: 1 bytes}, elapsed: {max: 1 s}"
    passed = ran(f"  - read: battery level\n    expect: {{{limits}, att_error: {{equals: none}}}}\n")
    assert (passed.ended.exit_code, passed.ended.judged) == (0, 5)
    limits = "value: {max: 90 %}, raw: {equals: '5C'}, length: {equals: 2 bytes}, elapsed: {max: 1 ms}"
    failed = ran(f"  - read: battery level\n    expect: {{{limits}}}\n")
    assert [r.judgement.passed for r in failed.step(3).readings] == [False] * 4


def test_a_property_that_is_missing_is_found_before_the_request() -> None:
    ended = ran("  - notify: temperature[0]\n    for: 1 s\n").ended
    assert ended.message == "temperature[0] does not offer notify or indicate; its properties: read"


# --- ATT errors


@pytest.mark.parametrize(
    ("step", "name"), [("read: secret", "read not permitted"), ("write: secret\n    raw: '01'", "application error")]
)
def test_an_expected_att_error_passes_and_an_unexpected_one_fails(step: str, name: str) -> None:
    unexpected = ran(f"  - {step}\n").ended
    assert (unexpected.verdict, unexpected.cause) == ("fail", "device")
    assert name in unexpected.message
    assert ran(f"  - {step}\n    expect: {{att_error: {{matches: '{name}.*'}}}}\n").ended.exit_code == 0
    assert ran(f"  - {step}\n    expect: {{att_error: {{equals: out of range}}}}\n").ended.cause == "limit"


def test_a_property_that_a_well_answered_request_needs_is_the_units_to_have() -> None:
    step = "  - write: temperature[0]\n    raw: '0000'\n    expect: {att_error: {equals: none}}\n"
    assert ran(step).ended.cause == "device"


@pytest.mark.parametrize("key", ["expect: {att_error: {equals: none}}", "save: {att_error: said}"])
@pytest.mark.parametrize("verb", ["write", "exchange"])
def test_what_has_no_answer_has_no_att_error(verb: str, key: str) -> None:
    with pytest.raises(PlanError, match="a write without response has no answer, so no att_error"):
        ran(f"  - {verb}: command\n    raw: '01'\n    response: false\n    {key}\n")


@pytest.mark.parametrize(
    ("step", "took"), [("read: deaf", ""), ("write: deaf\n    value: 1", "the device accepted 01: the ATT error ")]
)
def test_an_att_error_that_does_not_come_fails(step: str, took: str) -> None:
    ended = ran(f"  - {step}\n    expect: {{att_error: {{equals: write not permitted}}}}\n").ended
    assert (ended.verdict, ended.cause) == ("fail", "limit")
    assert ended.message == f"{took}'none' is not 'write not permitted'"


def test_a_value_limit_is_not_passed_by_an_att_error() -> None:
    """An expected error leaves the value without a reading: the limit on it has nothing to hold."""
    limits = "att_error: {equals: read not permitted}, value: {equals: '00'}"
    ended = ran(f"  - read: secret\n    expect: {{{limits}}}\n").ended
    assert (ended.verdict, ended.message) == ("fail", "the step gave no reading 'value'")


# --- write


def test_a_written_value_is_read_back() -> None:
    step = "  - write: limit\n    value: -12.34 °C\n    read_back: true\n    expect: {value: {equals: -12.34 °C}}\n"
    kept = ran(step)
    assert kept.ended.exit_code == 0
    # -1234 in two's complement, little-endian
    assert kept.step(3).notes[0].text == "sends 2E FB"


def test_a_value_that_the_device_does_not_keep_fails() -> None:
    ended = ran("  - write: deaf\n    value: 1\n    read_back: true\n").ended
    assert (ended.cause, ended.message) == ("device", "read back 07 after writing 01")


def test_a_raw_write_is_for_the_device_to_refuse() -> None:
    ended = ran("  - write: limit\n    raw: FF 7F\n    expect: {att_error: {equals: out of range}}\n").ended
    assert ended.exit_code == 0


def test_a_write_without_response() -> None:
    steps = "  - write: command\n    raw: '42'\n    response: false\n  - read: command\n    expect: {value: {equals: '42'}}\n"
    assert ran(steps).ended.exit_code == 0
    ended = ran("  - write: command\n    raw: '42'\n").ended
    assert "command does not offer write or reliable write" in ended.message


def test_a_descriptor_is_written() -> None:
    name = "'temperature[0]/user description'"
    steps = f"  - write: {name}\n    value: Door\n  - read: {name}\n    expect: {{value: {{equals: Door}}}}\n"
    assert ran(steps).ended.exit_code == 0


def test_every_reading_of_write() -> None:
    for limit, code in (("max: 1 s", 0), ("max: 1 ms", 1)):
        assert ran(f"  - write: limit\n    value: 1 °C\n    expect: {{elapsed: {{{limit}}}}}\n").ended.exit_code == code


def test_an_att_error_that_is_only_saved_fails() -> None:
    """Or a bad unit would pass a step that has no other limit."""
    steps = "  - read: secret\n    save: {att_error: said}\n  - command: [echo, '${said}']\n    expect: {output: {equals: read not permitted}}\n"
    found = ran(steps)
    assert [found.step(n).ended.verdict for n in (3, 4)] == ["fail", "pass"]
    assert (found.ended.cause, found.ended.exit_code) == ("device", 1)


def test_a_time_that_the_radio_does_not_tell_is_not_judged_and_the_table_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Link, "timing", {})
    found = ran("  - discover:\n    expect: {elapsed: {max: 9 s}, table: {battery service: {humidity: []}}}\n")
    assert found.reading(3, "table").judgement.passed is False
    assert [event.name for event in found.events if isinstance(event, NotJudged)] == ["elapsed"]
    alone = ran("  - discover:\n    expect: {elapsed: {max: 9 s}, services: {contains: battery service}}\n").ended
    assert alone.exit_code != 0, "not all was judged"
