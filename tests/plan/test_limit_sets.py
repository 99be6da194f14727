"""Limit sets: what they override, what they may not, and that a plan under one is checked and run like any other."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from benchrig.errors import PlanError
from benchrig.plan.limit_choice import limits_for
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.schema import limits_schema
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from benchrig.testing import device_of, run_plan
from tests.plan.building import HEAD
from tests.scratch import scratch

TESTPLANS = Path(__file__).parents[2] / "testplans"
PLAN = (
    HEAD
    + """given:
  market: {one_of: [de, us], default: de}
  least: {default: 20 %}
  what: {default: battery level}
variants:
  market:
    de: {warm: {min: 2 °C, max: 25 °C}}
    us: {warm: {min: 0 °C, max: 30 °C}}
steps:
  - connect:
    expect: {elapsed: {max: 2 s}}
  - read: '${what}'
    expect: {value: {min: '${least}'}}
  - read: temperature
    until: {value: {min: 1 °C}}
    expect: {value: '${warm}', elapsed: {max: 1 s}}
  - use: part.yaml
    name: part
  - use: part.yaml
    name: other part
  - wait: 1 s
"""
)
PART = """given: {}
steps:
  - read: temperature
    expect: {value: {nominal: 20 °C, tolerance: 5 K}}
"""
SET = "limit_set: Pharma\nplan: {plan}\nversion: 3\nowner: Quality\nreason: They ask for it.\nlimits:\n"
DEVICE = device_of(
    "unit 1", {"battery": {"battery level": "88 %"}, "environmental sensing": {"temperature": "21.5 °C"}}
)


def under(limits: str, given: dict[str, str] | None = None, *, plan: str = PLAN, name: str = "a plan") -> Plan:
    """The plan under a limit set with these limits."""
    with scratch() as folder:
        Path(folder, "plan.yaml").write_text(plan, "utf-8")
        Path(folder, "part.yaml").write_text(PART, "utf-8")
        path = Path(folder, "set.yaml")
        path.write_text(SET.replace("{plan}", name) + limits, "utf-8")
        return load_plan(Path(folder, "plan.yaml"), given, limits=path)


def problems_of(limits: str, given: dict[str, str] | None = None, **how: Any) -> list[tuple[str, str, str]]:
    """Line and column in the limit set, what is wrong, what to do."""
    with pytest.raises(PlanError) as refused:
        under(limits, given, **how)
    for each in refused.value.problems:
        assert each.place.source.name.endswith("set.yaml"), str(each)
    return [(f"{each.place.line}:{each.place.column}", each.message, each.advice) for each in refused.value.problems]


def limit_of(plan: Plan, step: str, reading: str = "value") -> str:
    [found] = [each for each in plan.steps if each.name == step]
    assert found.step is not None
    return found.step.limits[reading].in_words


def test_a_limit_is_overridden_key_by_key_and_all_else_stays() -> None:
    limits = "  connect:\n    elapsed: {max: 500 ms}\n  'part: read temperature':\n    value: {tolerance: 1 K}\n"
    plan = under(limits, {})
    assert limit_of(plan, "connect", "elapsed") == "max 500 ms"
    assert limit_of(plan, "part: read temperature") == "nominal 20 °C and tolerance 1 K"
    assert limit_of(plan, "other part: read temperature") == "nominal 20 °C and tolerance 5 K"
    assert limit_of(plan, "read battery level") == "min 20 %"
    assert plan.steps[0].limit_place("elapsed").endswith("set.yaml:8")


def test_the_limit_of_a_variant_is_overridden_in_the_row_that_counts() -> None:
    limits = "  read temperature:\n    value: {max: 24 °C}\n"
    assert limit_of(under(limits, {"market": "us"}), "read temperature") == "min 0 °C and max 24 °C"
    assert limit_of(under(limits, {}), "read temperature") == "min 2 °C and max 24 °C"


def test_every_row_has_to_fit_to_what_is_overridden() -> None:
    limits = "  read temperature:\n    value: {min: 27 °C}\n"
    for given, others in (({"market": "us"}, "market: de"), (None, "market: de")):
        [(_, message, _)] = problems_of(limits, given)
        assert message.startswith("min 27 °C is above max 25 °C, so nothing could pass")
        assert given is None or message.endswith(f"({others})")


def test_a_step_is_called_as_it_is_written_and_a_limit_takes_values_of_the_plan() -> None:
    limits = "  'read ${what}':\n    value: {min: 60 %}\n  read temperature:\n    elapsed: {max: 2 s}\n"
    assert limit_of(under(limits, {}), "read battery level") == "min 60 %"
    assert under(limits).limit_set is not None, "without values, too: 'least' is used by the plan"
    assert limit_of(under(limits.replace("60 %", "'${least}'"), {"least": "70 %"}), "read battery level") == "min 70 %"


def test_the_plan_keeps_its_hash_and_says_which_set_it_is_under() -> None:
    path = TESTPLANS / "limits" / "end_of_line_pharma.yaml"
    plan = load_plan(TESTPLANS / "end_of_line.yaml", {}, limits=path)
    assert plan.hash == load_plan(TESTPLANS / "end_of_line.yaml", {}).hash
    assert plan.limit_set is not None
    assert (plan.limit_set.name, plan.limit_set.version, plan.limit_set.owner) == (
        "Pharma logger",
        "2",
        "Quality, A. Berg",
    )
    assert plan.limit_set.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert limit_of(plan, "ambient temperature") == "min 18 °C and max 27 °C"


WRONG = {
    "  conect:\n    elapsed: {max: 1 s}\n": ("7:3", "the plan has no step 'conect' with a limit", "did you mean 'connect'?"),
    "  wait:\n    elapsed: {max: 1 s}\n": ("7:3", "the plan has no step 'wait' with a limit", None),
    "  connect:\n    payload: {min: 244 bytes}\n": (
        "8:5", "the step 'connect' has no limit on 'payload': a limit set overrides limits and adds none", "choose one of: elapsed",
    ),
    "  connect:\n    elapsed: {max: 1 s, min: 1 ms}\n": (
        "8:25", "the limit on 'elapsed' has no 'min' in the plan: a limit set overrides limits and adds none", "the plan has max",
    ),
    "  connect:\n    elapsed: {max: 1 s, only_if: {market: {equals: de}}}\n": (
        "8:25", "a limit set does not decide whether a limit is judged", "take out only_if",
    ),
    "  read temperature:\n    reached_after: {max: 1 s}\n": (
        "8:5", "the limit on 'reached_after' comes with 'until' of the step 'read temperature'",
        "change the plan: a limit set overrides what is under expect",
    ),
    "  connect:\n    elapsed: {max: 5 K}\n": ("8:20", "5 K is a temperature, not a time", None),
    "  connect:\n    elapsed: {}\n": ("8:14", "the limit on 'elapsed' is empty", "write one of: max"),
    "  connect:\n    elapsed: 3\n": ("8:14", "expected a mapping, found the number 3", "write {equals: 3}"),
    "  connect:\n    elapsed: {max: '${lest}'}\n": ("8:20", "nothing before this step gives 'lest' a value", "did you mean 'least'?"),
    "  read battery level:\n    value: {min: 300 %}\n": (
        "8:18", "the reading is 0 to 100 %, so nothing could pass", "write a limit within",
    ),
    "  connect: 3\n": ("7:12", "expected limits by reading, found the number 3", None),
}  # fmt: skip


@pytest.mark.parametrize("limits", WRONG)
def test_what_a_set_may_not_say(limits: str) -> None:
    place, message, advice = WRONG[limits]
    found = problems_of(limits, {})
    assert [(where, said) for where, said, _ in found] == [(place, message)]
    if advice is not None:
        assert found[0][2] == advice


def test_steps_in_steps_and_of_the_clean_up() -> None:
    inner = "- group: both\n    steps:\n      - repeat: 59\n        name: often\n        steps:\n"
    inner += "          - {read: battery level, name: level, expect: {value: {min: 20 %}}}\n"
    inner += "        expect: {failed_share: {max: 5 %, confidence: 95 %}}\n"
    plan = (
        PLAN.replace("- wait: 1 s\n", inner)
        + "finally:\n  - {read: temperature, name: last, expect: {value: {max: 30 °C}}}\n"
    )
    limits = (
        "  level: {value: {min: 60 %}}\n  last: {value: {max: 29 °C}}\n  often: {failed_share: {confidence: 90 %}}\n"
    )
    loaded = under(limits, {}, plan=plan)
    assert limit_of(loaded, "level") == "min 60 %"
    assert limit_of(loaded, "last") == "max 29 °C"
    assert limit_of(loaded, "often", "failed_share") == "max 5 % at 90 % confidence"
    [(_, message, _)] = problems_of(limits.replace("90 %", "99 %"), {}, plan=plan)
    assert message == "59 rounds cannot show max 5 % at 99 % confidence: at least 90 are needed"


def test_a_limit_that_takes_a_secret_stays() -> None:
    plan = PLAN.replace("least: {default: 20 %}", "least: {secret: true}")
    limits = "  'read ${what}':\n    value: {min: 60 %}\n"
    for given in (None, {"least": "20 %"}):
        [(place, message, _)] = problems_of(limits, given, plan=plan)
        assert (place, message) == (
            "8:5", "the limit on 'value' takes the secret 'least', and a limit set does not override that",
        )  # fmt: skip


def test_what_stays_has_to_fit_to_what_is_overridden_and_all_is_told_at_once() -> None:
    limits = "  read temperature:\n    value: {min: 28 °C}\n  nobody:\n    value: {max: 1}\n"
    assert [said for _, said, _ in problems_of(limits, {})] == [
        "min 28 °C is above max 25 °C, so nothing could pass",
        "the plan has no step 'nobody' with a limit",
    ]


def test_a_set_of_another_plan_is_refused_with_both_names() -> None:
    [(place, message, advice)] = problems_of("  connect:\n    elapsed: {max: 1 s}\n", name="another plan")
    assert (place, message) == ("2:7", "the limit set 'Pharma' is for the plan 'another plan', not for 'a plan'")
    assert advice


def test_the_head_is_read_strictly(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HEAD + "steps: [{connect: }]\n")
    (tmp_path / "set.yaml").write_text("limit_set: A ${x}\nplan: a plan\nowner: ''\nreasn: x\nlimits:\n")
    with pytest.raises(PlanError) as refused:
        load_plan(tmp_path / "plan.yaml", limits=tmp_path / "set.yaml")
    said = [each.message for each in refused.value.problems]
    assert said == ["the key 'version' is missing", "the key 'reason' is missing", "${x} is not allowed here",
                    "unknown key 'reasn'", "expected limits by step and reading, found nothing"]  # fmt: skip
    with pytest.raises(PlanError, match="this is a limit set, not a plan"):
        load_plan(tmp_path / "set.yaml")


def test_a_run_is_judged_by_it_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "set.yaml").write_text(
        SET.replace("{plan}", "a plan") + "  read temperature:\n    value: {max: 21 °C}\n", "utf-8"
    )
    (tmp_path / "part.yaml").write_text(PART, "utf-8")
    plain_run = run_plan(PLAN, DEVICE, folder=tmp_path).record
    ran = run_plan(PLAN, DEVICE, folder=tmp_path, limits=tmp_path / "set.yaml").record
    assert (plain_run.verdict, plain_run.run.limit_set) == ("pass", None)
    assert (ran.verdict, ran.cause, ran.reading("read temperature").judgement.high) == ("fail", "limit", 21)  # type: ignore[union-attr]
    assert ran.run.limit_set is not None
    assert ran.run.limit_set.name == "Pharma"
    assert ran.reading("read temperature").judgement.place.endswith("set.yaml:8")  # type: ignore[union-attr]
    assert ran.reading("connect", "elapsed").judgement.place.endswith("plan.yaml:14")  # type: ignore[union-attr]


def test_of_several_plans_each_gets_the_set_that_names_it(tmp_path: Path) -> None:
    plans = [tmp_path / f"{name}.yaml" for name in "ab"]
    sets = [tmp_path / f"{name}_set.yaml" for name in "ab"]
    for name, plan, limits in zip("ab", plans, sets, strict=True):
        plan.write_text(f"plan: plan {name}\n")
        limits.write_text(f"limit_set: x\nplan: plan {name}\n")
    assert limits_for(plans, sets[1:]) == {plans[1]: sets[1]}
    assert limits_for(plans, [*sets, sets[0]]) == dict(zip(plans, sets, strict=True))
    sets[1].write_text("limit_set: x\nplan: plan a\n")
    with pytest.raises(PlanError, match="the plan 'plan a' has a limit set already"):
        limits_for(plans, sets)
    sets[1].write_text("limit_set: x\nplan: plan c\n")
    with pytest.raises(PlanError, match="no plan of this call is named 'plan c'"):
        limits_for(plans, sets)


def test_the_schema_takes_what_the_loader_takes() -> None:
    schema = limits_schema()
    Draft202012Validator.check_schema(schema)
    judge = Draft202012Validator(schema)
    shipped = sorted((TESTPLANS / "limits").glob("*.yaml"))
    assert shipped
    node = read_text(shipped[0].read_text("utf-8"), "set.yaml", Problems())
    good = plain(node)
    assert judge.is_valid(good)
    for wrong in ({"owner": None}, {"ownr": "x"}, {"limits": {"connect": {"elapsed": {"maxx": 3}}}}, {"limits": 3}):
        assert not judge.is_valid(good | wrong), wrong


def test_a_structure_of_a_table_overrides_key_by_key_too(tmp_path: Path) -> None:
    """What it does not name stays: a guard band above all."""
    plan, limits = tmp_path / "plan.yaml", tmp_path / "set.yaml"
    plan.write_text(
        "plan: Fridge\ndevice: {select: {name: X}}\ngiven: {market: {one_of: [de], default: de}}\n"
        "variants: {market: {de: {other: {max: 50 °C}}}}\nsteps:\n  - connect:\n  - read: temperature\n"
        "    expect: {value: {max: 9 °C, guard: {rule: ISO 14253-1, expanded: 2 K, k: 2}}}\n"
        "  - read: temperature\n    name: once more\n    expect: {value: '${other}'}\n",
        encoding="utf-8",
    )
    limits.write_text(
        "limit_set: Hot\nplan: Fridge\nversion: 1\nowner: Quality\nreason: It is hot.\n"
        "limits: {read temperature: {value: '${other}'}}\n",
        encoding="utf-8",
    )
    [step] = [each for each in load_plan(plan, {}, limits=limits).steps if each.name == "read temperature"]
    assert step.step is not None
    bound = step.step.limits["value"].bind("number", "°C")  # type: ignore[attr-defined]
    assert (bound.high, bound.stated_high) == (48, 50)
