"""Arithmetic in a run: computed readings, limits relative to what was read, written results, and whose mistake it is."""

from __future__ import annotations

import pytest

from tests.plan.building import plan_of, problems_of
from tests.run.kit import HEAD, Ran, device_text, plan_text, run

UUID = "7b1f40{:02x}-4d1e-4b6f-9a57-2f3c1de0a001"
NAMES = {
    "level": "as: uint8, unit: '%'",
    "set": "as: sint16, scale: 0.1, unit: °C",
    "key": "as: hex",
    "temp": "as: sint16, scale: 0.1, unit: °C, words: {0x7FFF: not known}",
}
ATTRIBUTES = "".join(
    f"    {name}: {{uuid: {UUID.format(n)}, {spec}}}\n" for n, (name, spec) in enumerate(NAMES.items())
)
SOUND = {
    "level": "value: {sequence: [97 %, 94 %]}",
    "set": "value: 5 °C",
    "key": "raw: '01 02 03 04'",
    "temp": "value: 21.4 °C",
}


def device(**other: str) -> str:
    values = SOUND | other
    listed = "".join(
        f"      - {{characteristic: {UUID.format(n)}, {NAMES[name]}, properties: [read, write], {values[name]}}}\n"
        for n, name in enumerate(NAMES)
    ) + "      - {characteristic: '2A2B', properties: [read, write], raw: '00 00 00 00 00 00 00 00 00 00'}\n"  # fmt: skip
    return device_text(f"services:\n  - service: {UUID.format(0x99)}\n    characteristics:\n{listed}")


READ = """\
  - read: level
    save: {value: before}
  - read: level
    name: later
    save: {value: after}
    expect: {value: {min: '${before - 5 %}', below: '${before}'}}
  - read: temp
    save: {value: t}
  - read: set
    save: {value: s}
"""
PLAN = plan_text(
    READ
    + """\
  - compute: {used: '${before - after}', rise: '${t - s}', half: '${50 % * after}'}
    expect: {used: {min: 2 %, max: 5 %}, rise: {max: 20 K}, half: {equals: 47 %}}
    save: {rise: rise}
  - write: set
    value: '${min(s + rise / 2, 30 °C)}'
    read_back: true
    expect: {value: {equals: 13.2 °C}}
  - read: key
    save: {value: key}
  - write: key
    raw: '${key[2:]} ${key[0:2]} FF'
    read_back: true
    expect: {value: {equals: '03 04 01 02 FF', length: 5}}
  - write: '2A2B'
    value: '${now}'
    read_back: true
    expect: {value.date_time: {min: '${now}'}, value.day_of_week: {equals: Thursday}}
""",
    attributes=ATTRIBUTES,
)


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_what_is_worked_out_is_judged_saved_and_written(air: str) -> None:
    ran = run(PLAN, device(), air=air)
    assert (ran.ended.verdict, ran.ended.message) == ("pass", ran.ended.message)
    made = {reading.name: (reading.value, reading.unit) for reading in ran.step("compute used, rise, half").readings}
    assert made == {"used": (3, "%"), "rise": (16.4, "ΔK"), "half": (47, "%")}


def test_a_unit_that_uses_too_much_fails_where_that_is_judged() -> None:
    ran = run(PLAN, device(level="value: {sequence: [97 %, 90 %]}"))
    failed = [one.planned.name for one in ran.record.steps if one.ended and one.ended.verdict == "fail"]
    assert failed == ["later", "compute used, rise, half"]
    assert "90 % is below the minimum 92 % by 2 %" in ran.step("later").ended.message


def test_a_word_of_the_unit_is_no_mistake_of_the_plan() -> None:
    ran = run(PLAN, device(temp="value: not known"))
    ended = ran.step("compute used, rise, half").ended
    assert (ended.verdict, ended.cause) == ("fail", "limit")
    assert "there is no value: the unit gave 'not known' for a value in it" in ended.message


def test_what_is_not_there_is_not_computed() -> None:
    ran = run(PLAN, device(temp="raw: '00'"))
    assert ran.step("compute used, rise, half").ended.verdict == "skip"


KEY = "  - read: key\n    save: {value: key}\n"
USED = "  - compute: {t: '${t}', s: '${s}', before: '${before}', after: '${after}', key: '${key}'}\n"


def step(text: str) -> Ran:
    return run(plan_text(READ + KEY + USED + text, attributes=ATTRIBUTES), device())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("  - compute: {x: '${before / (after - 94 %)}'}\n", "a division by 0 %; before is 97 %, after is 94 %"),
        ("  - compute: {x: '${key[9]}'}\n", "there is no part [9] of 4; key is 01 02 03 04 ("),
        ("  - write: set\n    value: '${s * 10000}'\n", "50000 °C"),
        ("  - wait: '${before * 1 s}'\n    name: a\n  - wait: '${-1 * (after / 1 % * 1 s)}'\n    name: b\n", "a time of -94 s is negative"),
    ],
)  # fmt: skip
def test_a_result_that_does_not_fit_is_a_mistake_of_the_plan(text: str, said: str) -> None:
    ran = step(text)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "plan", 4)
    assert said in ran.ended.message


@pytest.mark.parametrize(
    ("text", "said", "advice"),
    [
        ("  - compute: {x: '${before - s}'}\n", "before - s: ", ""),
        ("  - compute: {x: '${before +}'}\n", "expected a name or a number in 'before +', found the end", "write names"),
        ("  - compute: {x: '${befor - 2 %}'}\n", "nothing before this step gives 'befor' a value", "did you mean 'before'"),
        ("  - compute: {x: '${before - 2 %}'}\n    expect: {x: {max: 3 V}}\n", "3 V is a voltage, not a ratio", ""),
        ("  - compute: {x: '${t - s}'}\n    expect: {x: {max: 2 °C}}\n", "2 °C is a temperature, not a temperature difference", "ΔK"),
        ("  - compute: {x: '${before}'}\n    expect: {z: {max: 3 %}}\n", "a compute step has no reading 'z'", ""),
        ("  - compute: {x: '${key}'}\n    expect: {x: {max: 3}}\n", "'max' does not apply to a reading that is bytes", ""),
        ("  - read: temp\n    name: b\n    expect: {value: {max: '${before + 2 %}'}}\n", "${before + 2 %} is a ratio in %, the reading is a temperature in °C", "use a value"),
        ("  - read: temp\n    name: b\n    expect: {value: {max: '${t - 2 °C}'}}\n", "is a temperature difference in ΔK, the reading is a temperature in °C", ""),
        ("  - read: temp\n    name: b\n    expect: {value: {min: '${key}'}}\n", "${key} is bytes, the reading is a temperature", ""),
        ("  - read: level\n    name: b\n    expect: {value: {equals: '${key[0]}'}}\n", "is a number without a unit, the reading is a ratio in %", ""),
        ("  - write: set\n    value: '${before}'\n", "${before} is a ratio in %, what is written is a temperature in °C", "same kind"),
        ("  - write: set\n    value: '${key}'\n", "${key} is bytes, what is written is a temperature in °C", ""),
        ("  - write: set\n    value: '${t - s}'\n", "is a temperature difference in ΔK, what is written is a temperature", ""),
        ("  - compute: {}\n", "compute works out nothing", ""),
        ("  - compute: {x: {z: 1}}\n", "'x' is not a single value", ""),
        ("  - compute: {x: '${key + 1}'}\n", "a value of bytes has no arithmetic", "parts such as"),
        ("  - compute: {x: '${now + 1}'}\n", "now + 1: text has no arithmetic", "parts such as"),
        ("  - compute: {x: '${key[2:1]}'}\n", "the part [2:1] ends before it begins", "write [1:2]"),
        ("  - compute: {x: '${t - before}'}\n", "t - before: t is a temperature, before a ratio", ""),
        ("  - compute: {x: '${log-level}'}\n", "nothing before this step gives 'log' a value", ""),
    ],
)  # fmt: skip
def test_what_can_never_be_right_is_told_by_check(text: str, said: str, advice: str) -> None:
    problems = problems_of(plan_text(READ + KEY + USED + text, attributes=ATTRIBUTES))
    assert len(problems) == 1 + text.count("log-"), problems
    assert said in problems[0].message
    assert advice in problems[0].advice


def test_a_tolerance_may_be_a_part() -> None:
    within = "  - read: temp\n    name: b\n    expect: {value: {nominal: '${t}', tolerance: '${before}'}}\n"
    assert step(within).ended.verdict == "pass"


def test_given_values_take_part_and_their_names_come_first() -> None:
    head = "given:\n  log-level: {default: 3}\n  top: {max: 40 °C, default: 30 °C}\n  now: {default: '2026-02-03'}\n"
    steps = """\
  - compute: {a: '${log-level}', b: '${log-level * 2}', c: '${top - 5 K}', d: '${now}'}
    expect: {a: {equals: 3}, b: {equals: 6}, c: {equals: 25 °C}, d: {equals: '2026-02-03'}}
"""
    ran = run(plan_text(steps, head=head), device())
    assert ran.ended.verdict == "pass", ran.ended.message
    ran = run(plan_text(steps, head=head), device(), given={"top": "31 °C"})
    assert "26 °C is not 25 °C" in ran.ended.message


def test_nothing_is_worked_out_of_a_secret() -> None:
    head = "given:\n  pin: {secret: true}\n"
    [first, *_] = problems_of(HEAD + head + "steps:\n  - connect:\n  - write: '2A2B'\n    raw: '${pin[0:2]}'\n")
    assert first.message == "nothing is worked out of the secret in 'pin[0:2]'"


def test_the_parameters_of_a_part_take_part() -> None:
    part = "given: {limit: {}, low-er: {default: 2 %}}\nsteps:\n  - read: level\n    expect: {value: {min: '${limit - 1 %}', max: '${limit + low-er}'}}\n"
    use = "  - read: level\n    name: first\n    save: {value: before}\n  - use: part.yaml\n    with: {limit: '${before - 2 %}'}\n"
    text = plan_text(use, attributes=ATTRIBUTES)
    plan = plan_of(text, part=part)
    limit = plan.steps[-1].node.get("expect").get("value")  # type: ignore[union-attr]
    assert [limit.get(key).value for key in ("min", "max")] == ["${(before - 2 %) - 1 %}", "${(before - 2 %) + (2 %)}"]  # type: ignore[union-attr]
