"""Numbers in text: read, written where the text around them is fixed, and refused in words."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.errors import MalformedValue, PlanError
from tests.plan.building import problems_of
from tests.run.kit import device_text, plan_text, run
from tests.values.building import form

COUNTER = form(r"{as: decimal, part: 'counter (?P<number>\d{4})', valid_max: 9999}")
PLAIN = form("{as: decimal, unit: V}")


@pytest.mark.parametrize(
    ("text", "data", "value"),
    [
        ("{as: decimal}", b"21.50", 21.5),
        ("{as: decimal}", b"-0007", -7),
        ("{as: decimal}", b"+3", 3),
        (r"{as: decimal, part: 'counter (?P<number>\d+)'}", b"counter 0007", 7),
        (r"{as: decimal, part: '.*t=(?P<t>[-0-9.]+)( C)?'}", b"ok t=-3.25 C", -3.25),
        (r"{as: decimal, part: 'a\.b\((?P<n>\d+)\)'}", b"a.b(12)", 12),
    ],
)
def test_what_is_read(text, data, value):
    assert form(text).decode(data) == value


@pytest.mark.parametrize(
    ("text", "data", "said"),
    [
        ("{as: decimal}", b"", "expected a decimal number, found ''"),
        ("{as: decimal}", b"1e5", "expected a decimal number, found '1e5'"),
        ("{as: decimal}", b"5\0", "expected a decimal number"),
        ("{as: decimal}", "٣".encode(), "expected a decimal number"),
        ("{as: decimal}", b"\xff", "not utf8 text from byte 0 on"),
        ("{as: decimal, length: 3}", b"21", "the text has 3 bytes, found 2 bytes"),
        ("{as: decimal, valid_max: 9, unit: V}", b"10", "10 V is outside the valid range up to 9 V"),
        (r"{as: decimal, part: 'counter (?P<number>\d+)'}", b"counter x", "'counter x' does not match"),
        (r"{as: decimal, part: 'a(?P<n>\d+)?'}", b"a", "expected a decimal number, found nothing"),
        (r"{as: decimal, part: 'a(?P<n>.*)'}", b"a1.", "expected a decimal number, found '1.'"),
    ],
)
def test_what_is_malformed(text, data, said):
    with pytest.raises(MalformedValue) as refused:
        form(text).decode(data)
    assert said in refused.value.message


@pytest.mark.parametrize(
    ("text", "value", "data"),
    [
        ("{as: decimal}", Decimal("21.50"), b"21.5"),
        ("{as: decimal, length: 4}", 7, b"0007"),
        ("{as: decimal, length: 5}", -7, b"-0007"),
        (r"{as: decimal, part: 'counter (?P<number>\d{4})'}", 7, b"counter 0007"),
        (r"{as: decimal, part: 'a\.b\[(?P<n>\d+)\]'}", 12, b"a.b[12]"),
    ],
)
def test_what_is_written(text, value, data):
    assert form(text).encode(value) == data
    assert form(text).decode(data) == value


@pytest.mark.parametrize(
    ("text", "value", "said"),
    [
        (r"{as: decimal, part: 'a.*(?P<n>\d+)'}", 1, "can vary, so no value can be written"),
        (r"{as: decimal, part: 'counter (?P<number>\d{4})'}", 10_000, "does not match"),
        (r"{as: decimal, part: 'counter (?P<number>\d{4})'}", 1.5, "does not match"),
        ("{as: decimal}", "x", "expected a number (decimal)"),
        ("{as: decimal, length: 2}", 100, "the text has 2 bytes"),
    ],
)
def test_what_cannot_be_written(text, value, said):
    with pytest.raises(MalformedValue) as refused:
        form(text).encode(value)
    assert said in refused.value.message


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (r"{as: decimal, part: '\d+'}", "has 0 named groups, expected one"),
        (r"{as: decimal, part: '(?P<a>\d)(?P<b>\d)'}", "has 2 named groups, expected one"),
        ("{as: decimal, part: '('}", "is not a regular expression"),
        ("{as: utf8, part: '(?P<a>.)'}", "'part' does not apply to utf8"),
        ("{as: decimal, scale: 2}", "'scale' does not apply to decimal"),
    ],
)
def test_what_is_no_such_format(text, said):
    with pytest.raises(PlanError) as refused:
        form(text)
    assert said in refused.value.problems[0].message


@given(st.integers(0, 9999))
def test_a_counter_goes_there_and_back(number):
    assert COUNTER.decode(COUNTER.encode(number)) == number


@given(st.decimals(-(10**12), 10**12, places=6))
def test_a_number_goes_there_and_back(number):
    assert Decimal(repr(PLAIN.decode(PLAIN.encode(number)))) == number or abs(number) > 10**9


def test_a_limit_on_a_number_in_varying_text_is_possible():
    varying = r"as: decimal, part: '.*=(?P<n>\d+)'"
    text = plan_text(
        "  - read: doors\n    expect: {value: {equals: 7}}\n", attributes=f"    doors: {{uuid: {UUID}, {varying}}}"
    )
    assert run(text, device("raw: '61 3D 37'", "as: hex")).ended.verdict == "pass"
    never = plan_text(
        "  - read: doors\n    expect: {value: {equals: 7.5}}\n", attributes=f"    doors: {{uuid: {UUID}, {SPEC}}}"
    )
    assert "the reading is never that" in problems_of(never)[0].message


# --- in a run

UUID = "7b1f5001-4d1e-4b6f-9a57-2f3c1de0a001"
SPEC = r"as: decimal, part: 'counter (?P<number>\d{4})', valid_max: 9999"
PLAN = plan_text(
    "  - notify: doors\n    count: 5\n    counter: value\n"
    "    expect: {lost: {equals: 0}, duplicated: {equals: 0}, value: {rising: true}}\n"
    "  - read: doors\n    expect: {value: {min: 0, max: 9000}}\n    save: {value: doors}\n"
    "  - compute: {next: '${doors + 1}'}\n    expect: {next: {above: '${doors}'}}\n",
    attributes=f"    doors: {{uuid: {UUID}, {SPEC}}}",
)


def device(value: str, spec: str = SPEC) -> str:
    listed = f"{{characteristic: {UUID}, {spec}, properties: [read, notify], {value}, notify: {{period: 50 ms}}}}"
    return device_text(f"services:\n  - service: {UUID[:-1]}9\n    characteristics:\n      - {listed}\n")


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_counter_in_text_counts(air):
    ran = run(PLAN, device("value: {counter: {start: 7, step: 1}}"), air=air)
    assert ran.ended.verdict == "pass", ran.ended.message


@pytest.mark.parametrize(
    ("value", "spec", "said"),
    [
        ("value: {counter: {start: 7, step: 2}}", SPEC, "4 is not 0 (off by 4)"),
        ("value: {sequence: [1, 2, 2, 3]}", SPEC, "2 is not above the sample before it, 2"),
        ("value: door 7", "as: utf8", "'door 7' does not match"),
    ],
)
def test_one_that_does_not_count_fails(value, spec, said):
    ran = run(PLAN, device(value, spec))
    ended = ran.step("notify doors").ended
    assert (ran.ended.verdict, ended.verdict) == ("fail", "fail")
    assert said in ended.message
    assert ended.cause == ("device" if spec != SPEC else "limit")
