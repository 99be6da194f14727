"""What several runs come to, and how that is told to a merge request."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.report.explain import EXIT_MEANINGS
from benchrig.series.outcome import Failure, Ran
from benchrig.series.summary import FAILURES, PLANS, markdown, summary_text
from benchrig.series.tally import ORDER, Total, worst
from benchrig.series.units import SeenUnit, different, titles
from tests.reference import SECTIONS

PASSED = Ran(
    path=Path("a.yaml"), plan="a", repetition=1, seed=None, code=0, verdict="pass", cause="", reason="", failures=(),
    seconds=1.0, folder=Path("results/a"), station="line 2", radio="host", simulated=False, marks=(), unit="U-1",
    seen=SeenUnit("U-1", "", "U-1"), firmware="3.2.1",
)  # fmt: skip
FAILED = replace(
    PASSED, path=Path("b.yaml"), code=1, verdict="fail", cause="limit", reason="step 3: fail", folder=Path("results/b"),
    failures=(Failure("step 3 read x", "limit", "97 % is below the minimum 99 % by 2 %"),),
)  # fmt: skip
LEFT = replace(PASSED, path=Path("c.yaml"), code=2, verdict="not run", cause="operator", folder=None)


def test_the_order_of_the_codes_is_that_of_the_reference() -> None:
    assert [int(row["code"]) for row in SECTIONS["Several plans in a call"].table("code")] == [*ORDER]
    assert set(ORDER) == set(EXIT_MEANINGS)
    assert [worst([0, code]) for code in ORDER] == [*ORDER]
    assert worst([0, 99]) == 99


@given(st.lists(st.sampled_from([PASSED, FAILED, LEFT, replace(PASSED, code=5), replace(PASSED, code=7)]), min_size=1))
def test_0_is_for_all_that_were_run_and_passed(runs: list[Ran]) -> None:
    total = Total(runs)
    assert (total.code == 0) == all(run is PASSED for run in runs)
    assert total.head.startswith("PASS") == (total.code == 0)
    assert (total.code == 1) == (FAILED in runs)
    assert Total(runs, interrupted=True).code == 2


def test_flaky_is_what_passed_and_failed() -> None:
    again = replace(PASSED, path=FAILED.path, repetition=2)
    assert [each.verdict for each in Total([PASSED, FAILED, again]).tallies] == ["pass", "flaky"]
    assert Total([FAILED, again]).sentence == "2 runs: 1 passed, 1 failed; flaky: b.yaml (exit code 1)"
    no_station = replace(again, code=7, verdict="error")
    assert [each.verdict for each in Total([again, no_station]).tallies] == ["error"]


@pytest.mark.parametrize(
    ("first", "second", "differ"),
    [
        (("A", "C4:01"), ("B", "C4:01"), True),
        (("A", "C4:01"), ("A", "C4:02"), False),
        (("A", "C4:01"), ("", "C4:02"), True),
        (("A", "C4:01"), ("", "C4:01"), False),
        (("A", ""), ("", "C4:01"), False),  # nobody can tell
    ],
)
def test_units_differ_only_where_that_is_known(first: tuple[str, str], second: tuple[str, str], differ: bool) -> None:
    assert bool(different([SeenUnit(*first, "1"), None, SeenUnit(*second, "2")])) == differ


def test_a_summary_says_what_was_tested_on_what() -> None:
    text = summary_text(Total([PASSED, FAILED, LEFT]))
    for part in (
        "## benchrig: FAIL\n", "3 runs: 1 passed, 1 failed, 1 not run (exit code 1)", "station line 2", "unit: U-1",
        "firmware: 3.2.1", "| `b.yaml` | **fail** | limit | 1.0 s | `results/b` |",
        "| `c.yaml` | **not run** | operator | 1.0 s |  |",
        "- `b.yaml`, step 3 read x: 97 % is below the minimum 99 % by 2 % (limit), `results/b/record.jsonl`",
    ):  # fmt: skip
        assert part in text
    assert "SIMULATED" not in text
    simulated = replace(PASSED, simulated=True, marks=("SIMULATED",), seen=SeenUnit("U-2", "", "U-2"))
    text = summary_text(Total([simulated, FAILED]))
    assert text.startswith("## benchrig: FAIL, SIMULATED\n")
    assert "- **SIMULATED**: " in text
    assert "- **the units differ**: U-2; U-1" in text


def test_what_a_device_says_is_text() -> None:
    evil = "![x](http://e.example) <img> **b** `c` | @all #1 ~~ $x$ www.e.example\n# head \u202e"
    said = markdown(evil)
    assert re.findall(r"(?<!\\)[*_`<>|\[\]@#~$]", said.replace("&#8203;", "")) == []
    assert "\\@&#8203;all" in said
    assert "http://" not in said
    assert "www." not in said
    assert "\n" not in said
    failed = replace(FAILED, path=Path("a`|b.yaml"), failures=(Failure(evil, "limit", evil),), unit=evil)
    rows = [line for line in summary_text(Total([failed])).splitlines() if line.startswith("| `")]
    assert [row.count("|") for row in rows] == [6]


@given(st.integers(1, 300))
def test_a_summary_is_short(count: int) -> None:
    long = "x" * 5000
    runs = [replace(FAILED, path=Path(f"{n}.yaml"), failures=(Failure(long, "limit", long),)) for n in range(count)]
    text = summary_text(Total([PASSED, *runs]))
    assert len(text) < 40_000
    assert text.count("(limit)") == min(count, FAILURES)
    assert text.count("\n| `") == min(count + 1, PLANS)
    assert ("more are in the records" in text) == (count > FAILURES)
    assert ("| `a.yaml` | pass" in text) == (count < PLANS), "what did not pass goes before"


def test_a_unit_whose_serial_number_one_plan_has_read_is_listed_once() -> None:
    read, seen = SeenUnit("U-1", "C4:01", "U-1, unit, C4:01"), SeenUnit("", "C4:01", "unit, C4:01")
    other, unknown = SeenUnit("U-2", "C4:02", "U-2, unit, C4:02"), SeenUnit("", "", "unit, 4A:01")
    told = [(each, each.title) for each in (seen, read, unknown, other, seen)]
    assert titles(told) == ["U-1, unit, C4:01", "U-2, unit, C4:02", "unit, 4A:01"]
    assert titles([*told[:1], (None, "lock: A; key: B")]) == ["unit, C4:01", "lock: A; key: B"]
