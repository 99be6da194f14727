"""`variants`: rows chosen by a given value, and everything that would choose or fill in the wrong one."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from tests.plan.building import STEPS, plan_of, problem_of, problems_of, where, with_steps

TABLE = """\
variants:
  market:
    de: {top: 25 km/h, assist: {max: 250 W}, modes: [low, high]}
    us: {top: 45 km/h, assist: {max: 500 W}, modes: [low]}
"""
ATTRIBUTES = "  attributes:\n    speed: {uuid: 0xFF01, as: uint16, scale: 0.01, unit: km/h}\n    power: {uuid: 0xFF02, as: uint16, unit: W}\n"
BODY = """\
  - read: speed
    expect: {value: {max: '${top}'}}
  - read: power
    expect: {value: '${assist}'}
  - read: model number
    expect: {value: {one_of: '${modes}'}}
"""


def plan_text(table: str = TABLE, given: str = "{market: {one_of: [de, us]}}", body: str = BODY) -> str:
    return f"plan: a plan\ndevice:\n  select: {{name: 'unit*'}}\n{ATTRIBUTES}given: {given}\n{table}{STEPS}{body}"


def limits(market: str) -> list[object]:
    plan = plan_of(plan_text(), {"market": market})
    bound = [
        step.step.expect["value"].bind(kind, unit)
        for step, kind, unit in zip(plan.steps[1:], ("number", "number", "text"), ("km/h", "W", ""), strict=True)
    ]
    return [bound[0].high, bound[1].high, bound[2].passes("high")]


def test_the_given_value_chooses_the_row() -> None:
    assert (limits("de"), limits("us")) == ([25, 250, True], [45, 500, False])
    assert plan_of(plan_text(), {"market": "de"}).variants == {"market": "de"}


def test_without_a_value_every_row_is_checked_and_none_is_chosen() -> None:
    assert plan_of(plan_text()).variants == {}


@pytest.mark.parametrize("given", [None, {"market": "de"}, {"market": "us"}])
def test_a_limit_that_does_not_fit_is_found_whatever_variant_runs(given: Mapping[str, str] | None) -> None:
    problem = problem_of(plan_text(TABLE.replace("500 W", "500 V")), given)
    assert (where(problem), problem.message) == (
        "plan.yaml:11:38",
        "500 V is a voltage, not a power" + ("" if given == {"market": "us"} else " (market: us)"),
    )
    scalar = problem_of(plan_text(TABLE.replace("45 km/h", "45")), given)
    assert (where(scalar), scalar.message.startswith("45 has no unit")) == ("plan.yaml:15:27", True)


def test_rows_by_two_values() -> None:
    table = TABLE + "  colour:\n    red: {code: '01'}\n    blue: {code: '02'}\n"
    given = "{market: {one_of: [de, us], default: de}, colour: {one_of: [red, blue]}}"
    plan = plan_of(plan_text(table, given, BODY + "  - read: serial number\n    name: '${code}'\n"), {"colour": "blue"})
    assert (plan.variants, plan.steps[4].name) == ({"market": "de", "colour": "blue"}, "02")


def test_a_value_without_a_row_ends_before_the_radio() -> None:
    text = plan_text(given="{market: {}}")
    problem = problem_of(text, {"market": "fr"})
    assert (problem.message, problem.advice) == ("the table 'market' has no row 'fr'", "choose one of: de, us")
    assert "market" in {*plan_of(text, {"market": "us"}).variants}


def test_a_table_needs_its_value_in_the_run() -> None:
    from benchrig.plan.given import MissingGiven

    with pytest.raises(MissingGiven, match="market"):
        plan_of(plan_text(), {})


@pytest.mark.parametrize(
    ("old", "new", "said", "advice"),
    [
        ("market:\n", "markt:\n", "no value is given as 'markt'", "did you mean 'market'?"),
        ("    us:", "    uk:", "'market' is never 'uk'", "choose one of: de, us"),
        ("    us: {top: 45 km/h, assist: {max: 500 W}, modes: [low]}\n", "", "the table 'market' has no row 'us'", "add it"),
        ("top: 45", "tpo: 45", "the first row of 'market' has no 'tpo'", "did you mean 'top'?"),
        ("top: 45", "tpo: 45", "the row 'us' has no 'top'", "every row has the same names"),
        ("top: 45 km/h, ", "", "the row 'us' has no 'top'", "every row has the same names"),
        ("top: 45 km/h", "top: ", "'top' has no value", "write one"),
        ("top: 45 km/h", "top: '${x}'", "${x} is not allowed here", "write the value"),
        ("{top: 25 km/h, assist: {max: 250 W}, modes: [low, high]}", "25 km/h", "expected names with their values", ""),
        ("    de:", "    7:", "expected text as a key, found the number 7", "quote it: '7'"),
        ("top: 25", "market: 25", "'market' is a given value already", "choose another name"),
        ("top: 25", "t-op: 25", "'t-op' cannot be the name of a value", "use letters"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_table(old: str, new: str, said: str, advice: str) -> None:
    problems = problems_of(plan_text(TABLE.replace(old, new)))
    found = [each for each in problems if said in each.message]
    assert found, problems
    assert advice in found[0].advice


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("variants: [de]\n", "expected tables by a given value, found a list"),
        ("variants: {market: de}\n", "expected rows by the values of 'market'"),
        ("variants: {market: {}}\n", "expected rows by the values of 'market'"),
        (TABLE + "  market2:\n    de: {top: 1}\n", "no value is given as 'market2'"),
    ],
)
def test_what_is_no_table(table: str, said: str) -> None:
    assert any(said in each.message for each in problems_of(plan_text(table)))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("{market: {secret: true}}", "the secret value 'market' chooses no variant"),
        ("{market: {max: 5}}", "'market' is a number, and rows have words"),
        ("{market: {random: {text: 2}}}", "the random value 'market' chooses no variant"),
        ("{market: {one_of: [de, us, fr]}}", "the table 'market' has no row 'fr'"),
        ("{market: {matches: 'd.'}}", "'market' is never 'us'"),
        ("{market: {default: fr}}", "the table 'market' has no row 'fr'"),
    ],
)
def test_what_is_wrong_with_the_value_of_a_table(given: str, said: str) -> None:
    assert any(said in each.message for each in problems_of(plan_text(given=given)))


def test_a_name_of_a_row_that_no_step_uses() -> None:
    problem = problem_of(plan_text(body=BODY.replace("'${assist}'", "{max: 5 W}")))
    assert problem.message == "the value 'assist' of the table 'market' is not used"


def test_a_name_of_a_row_is_not_saved_and_in_one_table() -> None:
    assert problem_of(
        plan_text(body=BODY + "  - read: temperature\n    save: {value: top}\n    name: '${top}'\n")
    ).message == ("'top' is a value of the table 'market' already")
    given = "{market: {one_of: [de, us]}, colour: {one_of: [red]}}"
    assert problem_of(plan_text(TABLE + "  colour:\n    red: {top: 1}\n", given)).message == (
        "'top' is a value of the table 'market' already"
    )


def test_a_structure_is_no_part_of_a_text() -> None:
    problem = problem_of(
        plan_text(body=BODY + "  - read: temperature\n    name: 'up to ${assist}'\n"), {"market": "de"}
    )
    assert "cannot be put into text" in problem.message


def test_a_row_picks_the_unit_and_reaches_an_included_file() -> None:
    table = (
        "variants:\n  market:\n    de: {who: 'DE-*', most: {max: 250 W}}\n    us: {who: 'US-*', most: {max: 500 W}}\n"
    )
    text = plan_text(table, body="  - use: part.yaml\n    with: {limit: '${most}'}\n").replace("'unit*'", "'${who}'")
    part = "given: {limit: {}}\nsteps:\n  - read: power\n    expect: {value: '${limit}'}\n"
    plan = plan_of(text, {"market": "us"}, part=part)
    assert plan.selection().name == "US-*"
    assert plan.steps[1].step.expect["value"].bind("number", "W").high == 500


def test_a_file_of_another_row_has_to_be_there(tmp_path: Path) -> None:
    (tmp_path / "de.bin").write_bytes(b"1234")
    given = "given: {market: {one_of: [de, us], default: de}}\nvariants: {market: {de: {image: de.bin}, us: {image: us.bin}}}\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(with_steps("- write: 0xFF01\n  file: '${image}'\n  pieces: 20", given))
    with pytest.raises(PlanError) as refused:
        load_plan(plan, {})
    assert [each.message for each in refused.value.problems] == [
        "cannot read the file us.bin: No such file or directory (market: us)"
    ]
