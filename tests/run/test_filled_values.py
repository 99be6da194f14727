"""Values that a run fills in: what they become, and who is to blame where they do not fit."""

from __future__ import annotations

import pytest

from tests.run.kit import Ran, device_text, plan_text, run

OWN = "7b1f00{:02x}-4d1e-4b6f-9a57-2f3c1de0a001".format
ATTRIBUTES = f"""
    token: {{uuid: {OWN(1)}, as: hex}}
    command: {{uuid: {OWN(2)}, as: hex}}
    level: {{uuid: {OWN(3)}, as: uint8, unit: '%', words: {{255: not known}}}}
    size: {{uuid: {OWN(4)}, as: uint16, unit: mm}}
    greeting: {{uuid: {OWN(5)}, as: utf8}}
"""


def device(level: str = "83 %") -> str:
    return device_text(f"""
services:
  - service: {OWN(0)}
    characteristics:
      - {{characteristic: {OWN(1)}, as: hex, properties: [read], value: 'A6 47 00'}}
      - {{characteristic: {OWN(2)}, as: hex, properties: [read, write], value: '00'}}
      - {{characteristic: {OWN(3)}, as: uint8, unit: '%', words: {{255: not known}}, properties: [read, notify],
          value: {level}, notify: {{period: 50 ms}}}}
      - {{characteristic: {OWN(4)}, as: uint16, unit: mm, properties: [read, write], value: 5 mm}}
      - {{characteristic: {OWN(5)}, as: utf8, properties: [read, write], value: hello}}
""")


def ran(steps: str, level: str = "83 %") -> Ran:
    return run(plan_text(steps, attributes=ATTRIBUTES), device(level))


@pytest.mark.parametrize(
    ("key", "back"),
    [
        ("raw: '${t}'", "A6 47 00"),
        ("value: '${t}'", "A6 47 00"),
        ("raw: '02${t}'", "02 A6 47 00"),
        ("value: '02 ${t}'", "02 A6 47 00"),
    ],
)
def test_saved_bytes_can_be_sent_and_joined(key, back):
    steps = "  - read: token\n    save: {raw: t}\n  - write: command\n    " + key
    done = ran(f"{steps}\n  - read: command\n    expect: {{value: {{equals: '{back}'}}}}\n")
    assert done.ended.exit_code == 0


def test_bytes_within_a_text_are_hex_text():
    steps = "  - read: token\n    save: {raw: t}\n  - write: greeting\n    value: 'token ${t}'\n"
    done = ran(f"{steps}  - read: greeting\n    expect: {{value: {{equals: token A6 47 00}}}}\n")
    assert done.ended.exit_code == 0


MISFITS = [
    ("level", "write: size\n    value: '${x}'", "83 % is a ratio, not a length"),
    ("level", "read: size\n    expect: {value: {max: '${x}'}}", "83 % is a ratio, not a length"),
    ("level", "wait: '${x}'", "expected a time with its unit"),
    ("greeting", "write: size\n    value: '${x}'", "expected a number"),
    ("greeting", "write: command\n    raw: '0${x}'", "expected bytes as hex text"),
    ("greeting", "read: greeting\n    expect: {value: {matches: '(${x}'}}", "is not a regular expression"),
    ("greeting", "read: size\n    attempts: '${x}'", "expected a whole number"),
    ("greeting", "read: '${x}'", "unknown attribute 'hello'"),
    ("token", "write: greeting\n    value: '${t}'".replace("${t}", "${x}"), "expected text, found the bytes A6 47 00"),
]


@pytest.mark.parametrize(("attribute", "step", "said"), MISFITS)
def test_a_value_that_does_not_fit_is_the_plans_fault_in_one_sentence(attribute, step, said):
    # of a name that two steps save nobody knows before the run what it stands for
    twice = "  - wait: 1 s\n    save: {elapsed: x}\n"
    done = ran(f"{twice}  - read: {attribute}\n    save: {{value: x}}\n  - {step}\n")
    end = done.step(5).ended
    assert (end.verdict, end.cause, done.ended.cause, done.ended.exit_code) == ("error", "plan", "plan", 4)
    assert said in end.message
    assert "\n" not in end.message
    assert "plan.yaml:" in end.message


@pytest.mark.parametrize(
    "step",
    [
        "read: level\n    expect: {value: {nominal: '${x}', tolerance: 1 %}}",
        "read: level\n    expect: {value: {min: '${x}'}}",
        "notify: level\n    for: 1 s\n    expect: {value: {nominal: '${x}', tolerance: 1 %}}",
        "notify: level\n    for: 1 s\n    expect: {value: {max: '${x}'}}",
    ],
)
def test_a_word_of_the_unit_where_a_number_was_to_come_fails_the_unit(step):
    done = ran(f"  - read: level\n    save: {{value: x}}\n  - {step}\n", level="not known")
    assert (done.step(4).ended.verdict, done.ended.cause, done.ended.exit_code) == ("fail", "limit", 1)
    assert "the unit gave 'not known'" in done.step(4).ended.message
    assert done.stray == []


def test_a_saved_time_is_waited_for():
    steps = "  - wait: 250 ms\n    save: {elapsed: t}\n  - wait: '${t}'\n    expect: {elapsed: {min: 250 ms, max: 251 ms}}\n"
    assert ran(steps).ended.exit_code == 0


@pytest.mark.parametrize(
    ("limit", "cause", "code"), [("", "plan", 4), ("\n    expect: {value: {max: 4 mm}}", "limit", 1)]
)
def test_who_is_to_blame_for_a_limit_that_the_unit_makes_impossible(limit, cause, code):
    """The plan, which took any value: with a limit where it is saved the unit fails there first."""
    steps = f"  - read: size\n    save: {{value: s}}{limit}\n  - read: size\n    name: again\n"
    done = ran(steps + "    expect: {value: {min: '${s}', max: 4 mm}}\n")
    assert (done.ended.cause, done.ended.exit_code) == (cause, code)
    assert (done.step("again").ended.verdict, done.step("again").ended.cause) == ("error", "plan")


def test_an_empty_text_of_the_unit_is_nothing_to_look_for():
    steps = "  - write: greeting\n    value: ''\n  - read: greeting\n    save: {value: s}\n  - read: greeting\n"
    ended = ran(steps + "    expect: {value: {contains: '${s}'}}\n").ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)


def test_a_saved_value_in_a_unit_by_another_symbol():
    attributes = ATTRIBUTES.replace("unit: mm", "unit: degC")
    steps = "  - read: size\n    save: {value: x}\n  - read: size\n    expect: {value: {equals: '${x}'}}\n"
    done = run(plan_text(steps, attributes=attributes), device())
    assert done.ended.exit_code == 0
