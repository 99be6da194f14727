"""What steps need, give and end: read off their kinds, also off kinds that are not there yet."""

from __future__ import annotations

from typing import ClassVar

import pytest

from benchrig.errors import AttError, DeviceNotFound, LinkLost, OperatorError, PlanError
from benchrig.plan.flow import Losses, balance, check_flow
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Section, Where
from benchrig.source.problem import NOWHERE, Problems
from benchrig.source.yaml import Mapping
from benchrig.steps.base import Cap, Step
from benchrig.steps.call import Call
from benchrig.steps.connect import Connect, Disconnect
from benchrig.steps.read import Read
from benchrig.steps.scan import Scan
from benchrig.steps.wait import Wait
from tests.plan.building import plan_of


class Pair(Step, kw_only=True):
    verb: ClassVar[str] = "pair"
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.BOND})


class ReadSecret(Step, kw_only=True):
    verb: ClassVar[str] = "read secret"
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK, Cap.BOND})


LINK, ALL = frozenset({Cap.UNIT, Cap.LINK}), frozenset(Cap)
REFUSED = AttError(5, "insufficient authentication", "pair")


def step(kind: type[Step], number: int = 1, section: Section = "steps") -> StepPlan:
    return StepPlan(str(number), kind.verb, kind, section, Mapping({}, NOWHERE), None)


def plan(*kinds: type[Step]) -> list[StepPlan]:
    return [step(kind, number) for number, kind in enumerate(kinds, 1)]


def only(*caps: Cap) -> set[tuple[str, Cap]]:
    """Of the only device."""
    return {("", cap) for cap in caps}


def told(*kinds: type[Step]) -> list[str]:
    problems = Problems()
    check_flow(problems, plan(*kinds))
    return [problem.message for problem in problems.found]


def test_what_several_steps_need_give_and_end() -> None:
    assert balance(plan(Read, Disconnect, Connect)) == (only(Cap.LINK, Cap.UNIT), only(Cap.LINK), set())
    assert balance(plan(Scan, Connect, Pair, Disconnect)) == (set(), only(Cap.UNIT, Cap.BOND), only(Cap.LINK))


def test_what_the_check_says() -> None:
    assert told(Scan, Connect, Read, Disconnect) == []
    assert told(Scan, Read) == ["'read' needs a connection, but no connect step comes before it"]
    assert told(Connect, Disconnect, Pair) == ["'pair' needs a connection, but the link was ended by 'disconnect'"]
    assert told(Connect, Connect) == ["'connect' runs while the unit is connected already"]
    assert told(Connect, Wait, Connect) == []


def link_problems(steps: str) -> list[str]:
    head = "plan: a\ndevice: {select: {name: u}}\nsteps: "
    try:
        plan_of(head + steps)
    except PlanError as error:
        return [problem.message for problem in error.problems]
    return []


UP, DOWN, USE = "{connect: }", "{disconnect: }", "{read: battery level}"


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        (f"[{{repeat: 2, steps: [{UP}, {USE}, {DOWN}]}}, {UP}]", []),
        (f"[{UP}, {{repeat: 2, steps: [{USE}]}}, {DOWN}]", []),
        (f"[{UP}, {{repeat: 2, steps: [{USE}, {DOWN}]}}]", ["'read battery level' needs a connection, but the link was ended by 'disconnect' in the round before"]),
        (f"[{{repeat: 2, steps: [{UP}]}}]", ["'connect' runs while the unit is connected already"]),
        (f"[{{repeat: 1, steps: [{UP}]}}, {{repeat: {{a: [b]}}, steps: [{{read: battery level, name: 'x ${{a}}'}}, {DOWN}]}}]", []),
        (f"[{UP}, {{wait: 1 s, name: x}}, {{group: g, only_after: x, steps: [{DOWN}]}}, {USE}, {UP}]", []),
        (f"[{{wait: 1 s, name: x}}, {{group: g, only_after: x, steps: [{UP}]}}, {USE}]", []),
        (f"[{{group: g, steps: [{USE}]}}]", ["'read battery level' needs a connection, but no connect step comes before it"]),
        (f"[{UP}, {{group: g, first: [{DOWN}], steps: [{{wait: 1 s}}], finally: [{USE}]}}]", ["'read battery level' needs a connection, but the link was ended by 'disconnect'"]),
    ],
)  # fmt: skip
def test_the_link_in_steps_within_steps(steps: str, said: list[str]) -> None:
    assert link_problems(steps + "\n") == said


def test_repetitions_in_repetitions_are_looked_at_once_each() -> None:
    steps = f"{UP}, {USE}, {DOWN}"
    for _ in range(12):
        steps = f"{{repeat: 2, steps: [{steps}, {UP}, {DOWN}]}}"
    assert link_problems(f"[{steps}]\n") == []


def test_without_a_loss_a_step_may_try() -> None:
    assert Losses().why_not(step(ReadSecret), lambda: LINK) is None


def test_a_bond_that_was_not_made_is_the_reason() -> None:
    losses = Losses()
    losses.remember(step(Pair, 3), Where("3"), REFUSED, LINK, ended=False)
    assert losses.why_not(step(ReadSecret, 4), lambda: LINK) == (Where("3"), "step 3 left no bond")
    assert losses.why_not(step(Read, 5), lambda: LINK) is None
    losses.remember(step(Pair, 6), Where("6"), None, ALL, ended=False)
    assert losses.why_not(step(ReadSecret, 7), lambda: ALL) is None


def test_a_unit_that_was_not_found_is_the_reason_for_all_that_need_it() -> None:
    losses = Losses()
    losses.remember(step(Scan), Where("1"), DeviceNotFound("silence"), frozenset(), ended=False)
    root = (Where("1"), "the unit was not found (step 1)")
    assert losses.why_not(step(Connect, 2), frozenset) == root
    assert losses.why_not(step(Read, 3), frozenset) == root
    assert losses.why_not(step(Wait, 4), frozenset) is None


def test_a_scan_that_was_interrupted_has_not_looked_in_vain() -> None:
    losses = Losses()
    losses.remember(step(Scan), Where("1"), OperatorError("interrupted"), frozenset(), ended=False)
    assert losses.found("")


def test_who_is_to_blame_for_a_link_that_is_gone() -> None:
    for kind, error, ended, blamed in (
        (Read, REFUSED, False, True),
        (Wait, LinkLost("gone"), False, True),
        (Wait, None, False, False),
        (Disconnect, None, True, False),
        (Disconnect, REFUSED, False, True),
        (Call, None, True, True),
    ):
        losses = Losses()
        losses.remember(step(kind, 2), Where("2"), error, frozenset({Cap.UNIT}), ended=ended)
        assert (("", Cap.LINK) in losses.since) is blamed, (kind, error)


def test_in_finally_nobody_knows_how_far_the_run_came() -> None:
    assert Losses().why_not(step(Read, 9, "finally"), frozenset) == (None, "there is no link")
    assert Losses(stop=Where("2")).why_not(step(Wait, 9, "finally"), frozenset) is None
    assert Losses(stop=Where("2")).why_not(step(Wait, 9), frozenset) == (Where("2"), "step 2 ended the run")
