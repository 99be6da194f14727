"""Every outcome as a test case that the schema takes."""

from __future__ import annotations

import pytest
from lxml import etree

from benchrig.escapes.junit import junit_xml
from benchrig.escapes.results import OUTCOMES, About, Argument, Came, Catch, Hunted, Result
from benchrig.escapes.telling import share_words
from tests.report.schemas import errors

CATCH = Catch("4", "read \x1b[1m", "value", "limit", "7 % is below 20 %\nby 13 %")
FOUND = {"caught", "blamed wrongly"}


def result(outcome: str) -> Result:
    about = About(f"level: {outcome}", "value", "grave", "It is \x00 low.", ["device", "limit"])
    trials = [Came(0, "fail", 1.5, 4, CATCH)] if outcome in FOUND else [Came(0, "pass", 2.0, 9)]
    if outcome == "by luck":
        trials.append(Came(1, "fail", 1.0, 4, CATCH))
    if outcome in ("failed", "not applicable"):
        trials = []
    argument = Argument("Nobody <reads> it.", "Anna", "2026-11-27") if outcome in ("argued", "left") else None
    return Result(about, outcome, trials, argument, "it died" if not trials else "")  # type: ignore[arg-type]


@pytest.mark.parametrize("interrupted", [False, True])
def test_every_outcome(interrupted: bool) -> None:
    hunted = Hunted(
        1, "a\x07plan", "p.yaml", "", "3", "d", ["d.yaml"], "", "", [0, 1], {"benchrig": "1"}, [], len(OUTCOMES) + 4,
        [result(outcome) for outcome in OUTCOMES], interrupted=interrupted, stale=["x"], notes=["y & z"],
    )  # fmt: skip
    document = junit_xml(hunted)
    assert errors(document, "junit-10") == []
    [suite] = etree.fromstring(document)
    counts = {name: int(suite.get(name)) for name in ("tests", "failures", "errors", "skipped")}
    assert counts == {"tests": len(OUTCOMES) + interrupted, "failures": 3, "errors": 1 + interrupted, "skipped": 2}
    cases = {case.get("name"): [each.tag for each in case] for case in suite.iter("testcase")}
    assert {name.partition(": ")[2]: tags[0] for name, tags in cases.items() if name != "interrupted"} == {
        "blamed wrongly": "failure", "failed": "error", "escaped": "failure", "by luck": "failure", "caught": "system-out",
        "left": "system-out", "argued": "skipped", "harmless": "system-out", "not applicable": "skipped",
    }  # fmt: skip
    assert ("interrupted" in cases) == interrupted


def test_the_share_is_of_what_the_plan_answers_for_and_never_rounded_up() -> None:
    def hunted(caught: int, escaped: int) -> Hunted:
        results = [result("caught")] * caught + [result("escaped")] * escaped + [result("argued")] * 7
        return Hunted(1, "p", "p", "", "", "d", [], "", "", [0], {}, [], len(results), results)

    assert (hunted(1, 3).share, hunted(0, 0).share) == (0.25, None)
    assert share_words(hunted(9999, 1)) == "9999 of 10000 faults caught, 99.9 %"
    assert share_words(hunted(3, 0)) == "3 of 3 faults caught, 100 %"
