"""The runner walks a tree: rounds are told apart, and a failure in one of them is not undone by another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.tree import Block, Node
from benchrig.record.model import Where
from benchrig.run.choose import choose_steps
from benchrig.run.station import Station
from tests.run.kit import Ran, device_text, plan_text, run

LEVELS = "services:\n  - service: battery service\n    characteristics:\n"
LEVELS += "      - {characteristic: battery level, properties: [read], value: {sequence: [LIST]}}"
READ = "  - read: battery level\n    expect: {value: {min: 50 %}}\n"


def levels(*percent: int) -> str:
    """A device whose battery level is this, one read after the other."""
    return device_text(LEVELS.replace("LIST", ", ".join(f"{each} %" for each in percent)))


def in_block(role: str, times: int, begin: int = 2) -> Callable[[Plan], Plan]:
    """The steps from `begin` on together, as the third node of the plan."""

    def changed(plan: Plan) -> Plan:
        id_ = str(begin + 1)
        children: list[Node] = [
            replace(step, id=f"{id_}.{number}") for number, step in enumerate(plan.steps[begin:], 1)
        ]
        block = Block(id_, "again", role, plan.steps[begin].place, tuple(children), times)  # type: ignore[arg-type]
        return replace(plan, nodes=(*plan.steps[:begin], block))

    return changed


def ends(ran: Ran) -> list[tuple[str, str]]:
    return [(step.where.label, step.ended.verdict if step.ended else "none") for step in ran.record.steps[2:]]


def test_a_failure_in_the_first_round_is_not_undone_by_the_second() -> None:
    ran = run(plan_text(READ), levels(20, 90), changed=in_block("repeat", 2))
    assert (ran.ended.verdict, ran.ended.exit_code, ran.ended.root) == ("fail", 1, Where("3.1", (1,)))
    assert ends(ran) == [("3.1 (round 1)", "fail"), ("3.1 (round 2)", "pass")]
    assert [step.readings[0].value for step in ran.record.steps[2:]] == [20, 90]
    [again] = [node for node in ran.record.nodes if node.planned.role == "repeat"]
    assert again.ended is not None
    assert (again.ended.verdict, again.ended.root) == ("fail", Where("3.1", (1,)))
    assert (ran.ended.planned, ran.ended.judged) == (2, 2)


def test_rounds_that_pass_pass() -> None:
    ran = run(plan_text(READ), levels(90), changed=in_block("repeat", 3))
    assert (ran.ended.verdict, ran.ended.judged) == ("pass", 3)
    assert ends(ran) == [(f"3.1 (round {number})", "pass") for number in (1, 2, 3)]


def test_a_step_that_stops_the_run_leaves_out_the_rounds_after_it() -> None:
    steps = READ + "    on_fail: stop\n"
    ran = run(plan_text(steps), levels(90, 20, 90, 90), changed=in_block("repeat", 4))
    assert [verdict for _, verdict in ends(ran)] == ["pass", "fail", "skip", "skip"]
    left_out = ran.record.steps[-1].ended
    assert left_out is not None
    assert (left_out.root, left_out.message) == (Where("3.1", (2,)), "step 3.1 (round 2) ended the run")
    assert (ran.ended.planned, ran.ended.judged, ran.ended.not_judged) == (4, 2, 2)


def test_the_same_name_in_each_round_saves_a_value_of_its_own() -> None:
    steps = "  - read: battery level\n    name: first\n    save: {value: before}\n"
    steps += "  - read: battery level\n    name: second\n    expect: {value: {equals: '${before}'}}\n"
    ran = run(plan_text(steps), levels(10, 10, 20, 20, 30, 31), changed=in_block("repeat", 3))
    assert [verdict for _, verdict in ends(ran)] == ["pass", "pass", "pass", "pass", "pass", "fail"]


def test_a_group_is_carried_out_once_and_comes_to_the_worst_of_it() -> None:
    ran = run(plan_text(READ), levels(20), changed=in_block("group", 1))
    assert ends(ran) == [("3.1", "fail")]
    [group] = [node for node in ran.record.nodes if node.planned.role == "group"]
    assert group.ended is not None
    assert (group.ended.verdict, group.ended.root) == ("fail", Where("3.1"))


def test_blocks_within_blocks_count_their_rounds_apart() -> None:
    def changed(plan: Plan) -> Plan:
        inner = in_block("repeat", 2)(plan).nodes[-1]
        assert isinstance(inner, Block)
        inner = replace(inner, id="3.1", children=(replace(plan.steps[2], id="3.1.1"),))
        return replace(plan, nodes=(*plan.steps[:2], replace(inner, id="3", times=2, children=(inner,))))

    ran = run(plan_text(READ), levels(90, 90, 90, 20), changed=changed)
    assert ends(ran) == [(f"3.1.1 (round {rounds})", verdict) for rounds, verdict in
                         (("1.1", "pass"), ("1.2", "pass"), ("2.1", "pass"), ("2.2", "fail"))]  # fmt: skip
    assert ran.ended.root == Where("3.1.1", (2, 2))


def test_a_run_that_ends_before_its_first_step_accounts_for_every_round() -> None:
    steps = "  - command: ['true']\n    expect: {exit_code: {equals: 0}}\n"
    station = Station("bench 1", forbid=["command"])
    ran = run(plan_text(steps), levels(90), changed=in_block("repeat", 3), station=station)
    assert (ran.ended.exit_code, ran.ended.planned, ran.ended.not_judged) == (7, 3, 3)
    assert [verdict for _, verdict in ends(ran)] == ["skip"] * 3


def test_a_part_of_a_plan_keeps_the_blocks_that_it_needs(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(plan_text(READ + "  - wait: 1 ms\n"), encoding="utf-8")
    plan = in_block("repeat", 2)(load_plan(tmp_path / "plan.yaml", {}))
    chosen = choose_steps(plan, only=["wait 1 ms"])
    assert [node.name for node in chosen] == ["again"]
    assert [step.id for node in chosen if isinstance(node, Block) for step in node.children] == ["3.2"]  # type: ignore[union-attr]
