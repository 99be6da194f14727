"""Values from outside the plan, saved readings, references to both, and included files."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from benchrig.plan.filling import filled
from benchrig.plan.given import MissingGiven
from benchrig.plan.loader import load_plan
from benchrig.source.shape import LooseText
from tests.plan.building import HEAD, STEPS, plan_of, problem_of, problems_of, where, with_steps
from tests.scratch import scratch

READ = "- read: manufacturer name\n  "


def named(text: str, given: dict[str, str] | None = None, head: str = "given: {a: {}, b: {default: B}}\n") -> str:
    """The title of a step whose name is `text`; its limit uses both values."""
    steps = f"{READ}name: {text}\n  expect: {{value: {{one_of: ['${{a}}', '${{b}}']}}}}"
    return plan_of(with_steps(steps, head), given if given is not None else {"a": "A"}).steps[1].name


def limit_of(text: str, given: dict[str, str], head: str = "given: {a: {}}\n"):
    """The limit on the value of the second step after loading."""
    return plan_of(with_steps(f"- read: {text}", head), given).steps[1].step.expect["value"]


# --- values of a run


def test_a_default_stands_until_it_is_set():
    text = with_steps(f"{READ}name: '${{a}}'", "given: {a: {default: one}}\n")
    assert [plan_of(text, given).steps[1].name for given in ({}, {"a": "two"})] == ["one", "two"]


def test_all_missing_values_are_named_at_once():
    text = with_steps(f"{READ}name: '${{a}} ${{b}} ${{c}}'", "given: {a: {}, b: {default: 1}, c: {}}\n")
    with pytest.raises(MissingGiven) as refused:
        plan_of(text, {})
    assert refused.value.message == "the plan needs a value for 'a', 'c'"
    assert list(refused.value.missing) == ["a", "c"]
    assert "--set a=… --set c=…" in refused.value.advice


def test_the_advice_for_a_secret_value_is_one_that_is_taken():
    text = with_steps("- read: serial number\n  expect: {value: {equals: '${a}'}}", "given: {a: {secret: true}}\n")
    with pytest.raises(MissingGiven) as refused:
        plan_of(text, {})
    assert refused.value.advice == "--set a=@FILE"


def test_without_a_run_missing_values_are_no_mistake():
    plan = plan_of(with_steps(f"{READ}name: '${{a}}'", "given: {a: {}}\n"))
    assert plan.steps[1].step is None
    assert filled(plan.steps[1], {"a": "later"}).name == "later"


def test_a_value_that_the_plan_does_not_ask_for():
    problem = problem_of(
        with_steps(f"{READ}name: '${{serial}}'", "given: {serial: {}}\n"), {"serial": "1", "serail": "1"}
    )
    assert (problem.message, problem.advice) == ("the plan has no given value 'serail'", "did you mean 'serial'?")


@pytest.mark.parametrize(
    ("limit", "value", "said"),
    [
        (r"{matches: 'VFL3-\d{6}'}", "VFL3-42", r"'VFL3-42' does not match 'VFL3-\d{6}'"),
        ("{one_of: [a, b]}", "c", "'c' is not one of 'a', 'b'"),
        ("{min: 3, max: 5}", "6", "6 is above the maximum 5 by 1"),
        ("{min: 3 s}", "2500 ms", "2.5 s is below the minimum 3 s by 0.5 s"),
        ("{min: 3 s}", "4", "'4' is not a quantity in s"),
        ("{min: 3 s}", "4 °C", "'4 °C' is not a quantity in s"),
        ("{min: 3}", "three", "'three' is not a number"),
        ("{length: 3}", "four", "'four' has length 4, not 3"),
    ],
)
def test_a_value_outside_its_limit(limit, value, said):
    problem = problem_of(with_steps(f"{READ}name: '${{a}}'", f"given: {{a: {limit}}}\n"), {"a": value})
    assert problem.message == f"the given value a: {said}"
    assert "plan.yaml:4:12" in problem.advice


def test_a_value_at_its_limit_is_exact():
    text = with_steps(f"{READ}name: '${{a}}'", "given: {a: {min: 0.3, max: 300 m}}\n").replace("300 m", "0.3")
    assert plan_of(text, {"a": "0.3"}).steps[1].name == "0.3"


# --- what a value from outside becomes


def test_digits_stay_text_where_text_is_due():
    limit = limit_of("manufacturer name\n  expect: {value: {equals: '${a}'}}", {"a": "00123"})
    assert limit.bind("text").passes("00123")
    assert not limit.bind("text").passes("123")


def test_the_same_digits_are_a_number_where_a_number_is_due():
    step = plan_of(with_steps("- read: temperature\n  attempts: '${a}'", "given: {a: {}}\n"), {"a": "3"}).steps[1].step
    assert step.attempts == 3


@pytest.mark.parametrize("value", ["003", "three", "1e1", "0o7"])
def test_what_is_no_number_is_refused_where_it_stands(value):
    problem = problem_of(with_steps("- read: temperature\n  attempts: '${a}'", "given: {a: {}}\n"), {"a": value})
    assert problem.message.startswith("expected a whole number, found")
    assert where(problem) == "plan.yaml:8:15"


def test_a_quantity_from_outside():
    limit = limit_of("temperature\n  expect: {value: {max: '${a}'}}", {"a": "30 °C"})
    assert limit.bind("number", "°C").high == 30


def test_a_wrong_unit_from_outside_is_found_before_the_run():
    text = with_steps("- read: temperature\n  expect: {value: {max: '${a}'}}", "given: {a: {}}\n")
    assert problem_of(text, {"a": "30"}).message == "30 has no unit; the reading is measured in °C"


def test_a_value_within_text():
    assert named("'unit ${a}, ${b}'") == "unit A, B"


def test_spaces_in_a_reference():
    assert named("'${ a }'") == "A"


def test_two_dollars_are_one():
    assert named("'$$${a} costs $$5, not $${b}'") == "$A costs $5, not ${b}"


def test_two_dollars_are_one_without_any_reference():
    assert plan_of(with_steps("- discover:\n  name: 5 $$")).steps[1].name == "5 $"


@pytest.mark.parametrize("value", ["${b}", "$${b}", "$$", "${nothing}", "$"])
def test_a_value_from_outside_is_never_read_as_a_reference(value):
    assert named("'${a}'", {"a": value}) == value
    assert named("'<${a}>'", {"a": value}) == f"<{value}>"


def test_a_value_from_outside_keeps_its_dollars_beside_a_saved_one():
    steps = "- read: temperature\n  save: {value: t}\n- read: humidity\n  name: '${a} at ${t} for 5 $$'"
    plan = plan_of(with_steps(steps, "given: {a: {}}\n"), {"a": "${t}$$"})
    assert filled(plan.steps[2], dict(plan.values) | {"t": 21.5}).name == "${t}$$ at 21.5 for 5 $"


def test_a_value_from_outside_is_loose_text():
    plan = plan_of(with_steps("- discover:\n  name: '${a}'", "given: {a: {}}\n"), {"a": "1"})
    assert type(plan.values["a"]) is LooseText


# --- parts, random values, what is kept for the record

LABEL = "given: {a: {part: '.*SN=(?P<serial>[^;]*).*', matches: 'A\\d+'}}\n"


def test_a_part_is_taken_out_of_what_was_scanned():
    plan = plan_of(with_steps(f"{READ}name: '${{a}}'", LABEL), {"a": "PN=3;SN=A7;X"})
    assert (plan.steps[1].name, dict(plan.scanned)) == ("A7", {"a": "PN=3;SN=A7;X"})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("A7", "expected text with the serial in it, found 'A7'; its form is '.*SN=(?P<serial>[^;]*).*'"),
        ("SN=;X", "expected text with the serial in it, found 'SN=;X'; its form is '.*SN=(?P<serial>[^;]*).*'"),
        ("SN=B7", "'B7' does not match 'A\\d+'"),
        ("", "expected text with the serial in it, found ''; its form is '.*SN=(?P<serial>[^;]*).*'"),
    ],
)
def test_a_text_without_the_part(text, said):
    problem = problem_of(with_steps(f"{READ}name: '${{a}}'", LABEL), {"a": text})
    assert problem.message == f"the given value a: {said}"


def test_the_label_of_a_secret_is_neither_kept_nor_told():
    text = with_steps(
        "- read: serial number\n  expect: {value: {equals: '${a}'}}",
        "given: {a: {secret: true, part: 'PIN (?P<pin>.*)'}}\n",
    )
    assert dict(plan_of(text, {"a": "PIN 123456"}).scanned) == {}
    assert "123456" not in str(problem_of(text, {"a": "pin 123456"}))


def test_a_part_is_a_number_where_its_limit_is_one():
    text = with_steps(f"{READ}name: '${{a}}'", "given: {a: {part: 'I=(?P<amps>.*)', max: 2 A}}\n")
    assert plan_of(text, {"a": "I=1500 mA"}).steps[1].name == "1500 mA"
    assert problem_of(text, {"a": "I=3"}).message == "the given value a: '3' is not a quantity in A"


def test_an_empty_value_needs_a_limit_that_it_satisfies():
    free = with_steps("- read: serial number\n  expect: {value: {equals: '${a}'}}", "given: {a: {}}\n")
    assert {problem_of(free, {"a": text}).message for text in ("", "  ")} == {
        "the given value a: expected a value, found none"
    }
    assert plan_of(free.replace("{a: {}}", "{a: {length: {max: 3}}}"), {"a": ""}).values == {"a": ""}


def test_random_values_are_new_in_each_run_and_those_of_the_seed():
    steps = "- write: own\n  raw: '${nonce}'\n- read: serial number\n  name: '${word}'"
    text = with_steps(steps, "given: {nonce: {random: {bytes: 8}}, word: {random: {text: 12}}}\n")
    text = text.replace("select:", "attributes: {own: {uuid: 0xFF01, as: hex}}\n  select:")
    drawn = [plan_of(text, {}).values for _ in range(2)]
    assert drawn[0]["nonce"] != drawn[1]["nonce"]
    assert {(len(each["nonce"]), len(each["word"])) for each in drawn} == {(8, 12)}
    assert plan_of(text, {"nonce": "01 02 03 04 05 06 07 08"}).values["nonce"] == bytes(range(1, 9))
    assert problem_of(text, {"nonce": "01"}).message == "the given value nonce: expected 8 bytes, found 1"


def test_the_seed_of_a_run_draws_its_values_each_another_one():
    text = with_steps(f"{READ}name: '${{a}} ${{b}}'", "given: {a: {random: {text: 9}}, b: {random: {text: 9}}}\n")
    with scratch() as folder:
        path = Path(folder, "plan.yaml")
        path.write_text(text)
        names = [load_plan(path, {}, seed=seed).steps[1].name for seed in (1, 1, 2)]
    assert names[0] == names[1] != names[2]
    assert len(set(names[0].split())) == 2


def test_a_random_value_that_does_not_fit_is_found_without_a_run():
    steps = "- read: temperature\n  attempts: '${a}'"
    assert where(problem_of(with_steps(steps, "given: {a: {random: {bytes: 2}}}\n"))) == "plan.yaml:8:15"


def test_a_value_for_the_record_need_not_be_used_but_has_to_be_given():
    text = with_steps("- read: serial number", "given: {lot: {record: true}}\n")
    assert plan_of(text, {"lot": "7"}).values == {"lot": "7"}
    with pytest.raises(MissingGiven):
        plan_of(text, {})


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("{part: 'SN=(.*)'}", "expected a pattern with one named group, found none"),
        ("{part: '(?P<a>.)(?P<b>.)'}", "expected a pattern with one named group, found 2: a, b"),
        ("{part: 'SN=(?P<a>'}", "is not a regular expression"),
        ("{prompt: ' '}", "the prompt is empty"),
        ("{random: {}}", "a random value has either bytes or text"),
        ("{random: {bytes: 8, text: 8}}", "a random value has either bytes or text"),
        ("{random: {bytes: 0}}", "expected 1 to 512, found 0"),
        ("{random: {byte: 8}}", "unknown key 'byte'"),
        ("{random: {bytes: 8}, default: a}", "a random value has no default"),
        ("{random: {bytes: 8}, max: 3}", "a random value has no max"),
        ("{secret: true, record: true}", "a secret is not kept for the record"),
        ("{recrod: true}", "unknown key 'recrod'"),
    ],
)
def test_what_is_wrong_with_a_given_value(spec, said):
    problems = problems_of(with_steps(f"{READ}name: '${{a}}'", f"given: {{a: {spec}}}\n"))
    assert said in problems[0].message
    assert problems[0].place.line == 4


# --- saved readings


def test_a_saved_reading_keeps_its_type():
    steps = "- read: temperature\n  save: {value: t}\n- notify: temperature\n  for: 1 s\n  expect: {value: {equals: '${t}'}}"
    plan = plan_of(with_steps(steps))
    step = plan.steps[2]
    assert (step.step, step.uses) == (None, {"t"})
    bound = filled(step, {"t": "21.5 °C"}).expect["value"].bind("number", "°C")
    assert bound.low == 21.5


def test_the_rest_of_a_step_that_waits_is_checked_now():
    steps = "- read: temperature\n  save: {value: t}\n- read: temperature\n  expect: {value: {nominal: '${t}', tolerance: 1 °C}, elapsed: {max: 3}}"
    assert problem_of(with_steps(steps)).message == "3 has no unit; the reading is measured in s"


def test_a_value_may_be_used_before_it_is_saved_again():
    steps = "- read: temperature\n  save: {value: t}\n- read: humidity\n  name: at ${t}\n  save: {value: t}"
    assert plan_of(with_steps(steps)).steps[2].saves == ["t"]


def test_given_values_pick_the_unit():
    plan = plan_of(HEAD.replace("'unit*'", "'${who}*'") + f"given: {{who: {{}}}}\n{STEPS}", {"who": "VFL"})
    assert plan.selection().name == "VFL*"


# --- include

PART = "given: {what: {}, most: {default: 30 °C}}\nsteps:\n  - read: ${what}\n    expect: {value: {max: '${most}'}}\n"


def test_an_include_puts_its_parameters_in():
    plan = plan_of(with_steps("- use: part.yaml\n  with: {what: temperature, most: 303.15 K}"), part=PART)
    assert plan.steps[1].step.read == "temperature"
    assert plan.steps[1].step.expect["value"].bind("number", "°C").high == 30


def test_the_same_file_twice_with_names():
    steps = "- use: part.yaml\n  name: first\n  with: {what: temperature}\n- use: part.yaml\n  name: last\n  with: {what: temperature}"
    names = [step.name for step in plan_of(with_steps(steps), part=PART).steps]
    assert names == ["connect", "first: read temperature", "last: read temperature"]


def test_a_parameter_may_be_a_value_of_the_run():
    steps = "- use: part.yaml\n  with: {what: temperature, most: '${a}'}"
    plan = plan_of(with_steps(steps, "given: {a: {}}\n"), {"a": "12 °C"}, part=PART)
    assert plan.steps[1].step.expect["value"].bind("number", "°C").high == 12


def test_the_limit_of_a_parameter_holds_for_a_given_value_too():
    part = "given: {most: {max: 5 °C}}\nsteps:\n- read: temperature\n  expect: {value: {max: '${most}'}}\n"
    plan = with_steps("- use: part.yaml\n  with: {most: '${a}'}", "given: {a: {}}\n")
    assert len(plan_of(plan, {"a": "4 °C"}, part=part).steps) == 2
    problem = problem_of(plan, {"a": "9 °C"}, part=part)
    assert problem.message == "the parameter most: 9 °C is above the maximum 5 °C by 4 °C"


def test_two_dollars_of_a_parameter_are_one_in_the_end():
    part = "given: {what: {}}\nsteps:\n  - discover:\n    name: $$${what}\n"
    plan = plan_of(with_steps("- use: part.yaml\n  with: {what: 5 $$}"), part=part)
    assert plan.steps[1].name == "$5 $"


def test_includes_within_includes_are_found_beside_the_file_that_names_them(tmp_path):
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "inner.yaml").write_text("steps: [{read: temperature}]")
    (tmp_path / "outer.yaml").write_text("steps: [{use: parts/inner.yaml}]")
    plan = plan_of(with_steps(f"- use: {tmp_path}/outer.yaml"))
    assert [step.name for step in plan.steps] == ["connect", "read temperature"]


def test_an_include_that_goes_round_in_a_circle():
    a, b = "steps: [{use: b.yaml}]", "steps: [{use: a.yaml}]"
    problem = problem_of(with_steps("- use: a.yaml"), a=a, b=b)
    assert (where(problem), problem.message) == (
        "b.yaml:1:15",
        "circular include: a.yaml → b.yaml → a.yaml",
    )


def test_a_plan_that_includes_itself():
    assert "circular include: plan.yaml → plan.yaml" in problem_of(with_steps("- use: plan.yaml")).message


def test_a_mistake_in_an_include_has_its_place_there():
    problem = problem_of(with_steps("- use: part.yaml"), part="steps:\n  - read: temprature\n")
    assert where(problem) == "part.yaml:2:11"


@pytest.mark.slow
def test_includes_that_double_with_every_level_end():
    files = {f"f{n}": f"steps: [{{use: f{n + 1}.yaml}}, {{use: f{n + 1}.yaml}}]" for n in range(20)}
    problems = problems_of(with_steps("- use: f0.yaml"), f20="steps: []", **files)
    assert "more than 1000 includes" in problems[0].message


def test_includes_that_are_nested_without_end_end():
    files = {f"f{n}": f"steps: [{{use: f{n + 1}.yaml}}]" for n in range(50)}
    assert (
        "more than 32 within each other" in problem_of(with_steps("- use: f0.yaml"), f50="steps: []", **files).message
    )


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("- use: gone.yaml", "the file gone.yaml cannot be read: No such file or directory"),
        ("- use: [a]", "expected a file name, found a list"),
        ('- use: "a\\0b"', "is not a file name: embedded null byte"),
        ("- use: part.yaml\n  wiht: {}", "unknown key 'wiht'"),
        ("- use: part.yaml\n  with: 5", "expected parameters by name, found the number 5"),
        ("- use: part.yaml", "the included file needs the parameter 'what'"),
        ("- use: part.yaml\n  with: {what: temperature, wat: 1}", "the file has no parameter 'wat'"),
        ("- use: limited.yaml\n  with: {most: 9}", "the parameter most: 9 is above the maximum 5 by 4"),
        ("- use: unused.yaml", "the parameter 'n' is not used"),
        ("- use: list.yaml", "expected 'steps:' with a list of steps"),
        ("- use: open.yaml", "${x} is not allowed here"),
        ("- use: asked.yaml\n  with: {n: temperature}", "a parameter has no prompt"),
    ],
)
def test_what_is_wrong_with_an_include(step, said):
    files = {
        "part": PART,
        "limited": "given: {most: {max: 5}}\nsteps: [{read: temperature, attempts: '${most}'}]",
        "unused": "given: {n: {default: 1}}\nsteps: [{read: temperature}]",
        "list": "- read: temperature",
        "asked": "given: {n: {prompt: Which}}\nsteps: [{read: '${n}'}]",
        "open": "given: {n: {default: '${x}'}}\nsteps: [{read: '${n}'}]",
    }
    assert any(said in problem.message for problem in problems_of(with_steps(step), **files))


def test_a_number_given_in_a_file_is_exact():
    part = "given: {most: {}}\nsteps:\n  - scan:\n    expect: {count: {max: '${most}'}}\n"
    plan = plan_of(with_steps("- use: part.yaml\n  with: {most: 0.1}"), part=part)
    assert plan.steps[1].step.expect["count"].max == Decimal("0.1")


def test_what_only_an_ask_step_takes_may_be_left_to_the_operator() -> None:
    plan = plan_of(with_steps("- ask: Is the lamp green?\n  given: lamp", "given: {lamp: {}}\n"), {})
    assert plan.values == {}


def test_a_value_that_is_refused_is_not_blamed_on_the_steps_that_use_it() -> None:
    head = "given: {top: {max: 50 °C, default: 30 °C}}\n"
    steps = "- read: temperature\n  expect: {value: {max: '${top}'}}"
    assert (
        problem_of(with_steps(steps, head), {"top": "30"}).message
        == "the given value top: '30' is not a quantity in °C"
    )


MARGIN = "given: {least: {default: 20 %}}\nsteps:\n  - read: battery level\n    name: at least ${least - 5 %}\n    expect: {value: {min: '${least - 5 %}'}}\n"


@pytest.mark.parametrize(
    ("argument", "least"), [("30 %", "25 %"), ("'30 %'", "25 %"), ("", "15 %"), ("'${level}'", "")]
)
def test_a_parameter_takes_part_in_arithmetic_whatever_stands_for_it(argument: str, least: str) -> None:
    given = f"  with: {{least: {argument}}}\n" if argument else ""
    steps = f"- read: battery level\n  save: {{value: level}}\n- use: margin.yaml\n{given}- wait: 1 s\n  name: of ${{level}}"
    step = plan_of(with_steps(steps), margin=MARGIN).steps[2]
    assert step.name == (f"at least {least}" if least else step.name)
    assert (
        step.step is None if not least else str(step.step.expect["value"].bind("number", "%").words) == f"min {least}"
    )


def test_a_parameter_that_does_not_go_with_the_rest_is_told() -> None:
    steps = "- use: margin.yaml\n  with: {least: 5 V}"
    said = problems_of(with_steps(steps), margin=MARGIN)[0].message
    assert said == "least - 5 %: 5 V is a voltage, 5 % a ratio; least is '5 V'"
