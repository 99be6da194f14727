"""What another attempt is for: trouble with link or device, never a value."""

from __future__ import annotations

import pytest

from tests.run.kit import device_text, plan_text, run

SETTING = "7b1f0005-4d1e-4b6f-9a57-2f3c1de0a001"


def values(sequence: str, uuid: str = "0x2A19", more: str = "") -> str:
    return device_text(f"""
services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {uuid}, as: uint8, properties: [read, write], value: {{sequence: {sequence}}}{more}}}
""")


def test_a_malformed_value_is_an_answer() -> None:
    step = "  - read: battery level\n    attempts: 2\n    expect: {value: {min: 10 %}}\n"
    ran = run(plan_text(step), values("[255, 50]"))
    assert (ran.ended.exit_code, ran.ended.cause) == (1, "device")
    assert ran.step(3).retries == [], "tried once"


def test_another_value_read_back_is_an_answer() -> None:
    step = "  - write: setting\n    value: 1\n    read_back: true\n    attempts: 3\n"
    names = f"    setting: {{uuid: {SETTING}, as: uint8}}"
    ran = run(plan_text(step, attributes=names), values("[0, 0, 1, 1]", SETTING, ", on_write: {store: false}"))
    assert (ran.ended.exit_code, ran.ended.cause) == (1, "device")
    assert ran.ended.message == "read back 00 after writing 01"


@pytest.mark.parametrize("attribute", ["humidity", "serial number"])
def test_an_attribute_that_is_missing_stays_so(attribute: str) -> None:
    ran = run(plan_text(f"  - read: {attribute}\n    attempts: 3\n"), values("[1]"))
    assert (ran.ended.cause, ran.step(3).retries) == ("device", [])


def test_no_answer_stays_the_cause_when_the_link_went_with_it() -> None:
    """The bench gives the link up with the request; another attempt would find it gone, and blame that."""
    step = "  - read: battery level\n    attempts: 3\n    within: 3 s\n    expect: {value: {min: 10 %}}\n"
    ran = run(plan_text(step), values("[50]", more=", on_read: {silent: true}"))
    assert (ran.ended.cause, ran.step(3).retries) == ("device", [])
