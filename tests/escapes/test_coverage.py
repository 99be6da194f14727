"""What steps notice, and requirements that nothing proves."""

from __future__ import annotations

import pytest

from benchrig.cli.escapes_text import EscapesPage
from benchrig.escapes.coverage import coverage_of
from benchrig.escapes.results import About, Came, Catch, Hunted, Outcome, Result
from benchrig.faults.fault import Family
from benchrig.record.events import PlannedNode, PlannedRequirement

NODES = [
    PlannedNode("1", "read level", "read", "p:1", limits=["value"]),
    PlannedNode("2", "write limit", "write", "p:2"),
    PlannedNode("3", "lock", "group", "p:3", role="group", children=[
        PlannedNode("3.1", "it opens", "read", "p:4", limits=["value"]), PlannedNode("3.2", "it shuts", "read", "p:5", limits=["value"])]),
    PlannedNode("31", "silence", "scan", "p:6", limits=["rssi"]),
]  # fmt: skip
PROMISED = {"R-1": PlannedRequirement("It locks.", ["3"]), "R-2": PlannedRequirement("It is quick."),
            "R-3": PlannedRequirement("It is silent.", ["31"])}  # fmt: skip


def result(outcome: Outcome, *nodes: str, family: Family = "value") -> Result:
    by, *also = [Catch(node, "a step", "value", "limit", "7 % is below 20 %") for node in nodes] or [None]
    about = About(f"level: {outcome} {nodes}", family, "grave", "It is low.", ["limit"])
    return Result(about, outcome, [Came(0, "fail" if by else "pass", 1.0, 1, by, [each for each in also if each])])


RESULTS = [result("caught", "1"), result("caught", "3.1", "1"), result("escaped"), result("caught", "31", family="bench"),
           result("blamed wrongly", "3.2")]  # fmt: skip


def test_by_step_and_by_requirement() -> None:
    made = coverage_of(NODES, PROMISED, RESULTS)
    assert [(each.node, each.caught, each.first) for each in made.steps] == [
        ("1", 2, 1), ("2", 0, 0), ("3.1", 1, 1), ("3.2", 0, 0), ("31", 0, 0)]  # fmt: skip
    assert [each.node for each in made.idle] == ["3.2", "31"]
    assert [(each.id, each.caught, each.lacks) for each in made.requirements] == [
        ("R-1", 1, ""),
        ("R-2", 0, "no step proves it"),
        ("R-3", 0, "no fault is noticed by its steps: 31"),
    ]


@pytest.mark.parametrize("whole", [False, True])
def test_in_the_terminal(whole: bool, capsys: pytest.CaptureFixture[str]) -> None:
    made = coverage_of(NODES, PROMISED, RESULTS)
    hunted = Hunted(1, "p", "p.yaml", "", "", "d", ["d.yaml"], "", "", [0], {}, NODES, 5, RESULTS, made, whole)
    EscapesPage().show(hunted, at_length=False)
    said = capsys.readouterr().out
    assert "STEPS THAT NOTICED NOTHING  2\n  3.2 it shuts\n  31 silence\n" in said
    assert ("--whole tells" in said) != whole
    assert "REQUIREMENTS NOT COVERED  2\n  R-2 It is quick.\n    no step proves it\n" in said
    assert "R-1" not in said
