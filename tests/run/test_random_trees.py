"""Any nesting of groups, rounds, conditions, failures and interruptions ends by itself, with every step accounted for once and
a record that says it; nothing passes that holds a failure nobody allowed.

python -m tests.run.test_random_trees FIRST COUNT looks at more of them.
"""

from __future__ import annotations

import asyncio
import json
import sys

import msgspec
import pytest

from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, Opened, RunStarted
from benchrig.record.model import Execution, Record
from benchrig.run.runner import Runner
from tests.run.kit import Ran, run
from tests.run.random_trees import Tree, tree_of

QUICK, SLOW = 15, 750


def ran(tree: Tree) -> Ran:
    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == "1":
            for after in tree.interruptions:
                asyncio.get_running_loop().call_later(after, runner.interrupt)

    return run(tree.plan, tree.device, during=during)


def wrong(seed: int) -> list[str]:
    """What is wrong with a run of this tree; that every limit has one fate is looked at by the kit."""
    tree = tree_of(seed)
    left = ran(tree)
    found = [f"stray: {each}" for each in left.stray]
    found += [f"{left.tasks_left} tasks are left"] if left.tasks_left else []
    found += [f"{each.where.label} has not ended" for each in left.record.executions if each.ended is None]
    found += [f"a bug: {left.ended.message}"] if left.ended.cause == "internal" else []
    if left.ended.verdict == "pass":
        found += [sentence for node in left.record.nodes for sentence in unallowed(node)]
    found += [sentence for node in left.record.executions for sentence in miscounted(node)]
    again = build_record(msgspec.json.decode(msgspec.json.encode(left.events), type=list[AnyEvent]))
    found += ["read back it is another record"] if data(again) != data(left.record) else []
    return found + planned_once(left)


def data(record: Record) -> object:
    return json.loads(msgspec.json.encode(record))


def unallowed(node: Execution) -> list[str]:
    """What a run that passed must not hold: an error anywhere, a failure or a loss that no limit around it decides about."""
    assert node.ended is not None
    if node.ended.verdict == "error" or node.ended.counts_as != "pass":
        return [f"{node.where.label} came to {node.ended.verdict} in a run that passed"]
    inner = [each for child in node.children for each in child.all()]
    errors = [f"{each.where.label} is an error" for each in inner if each.ended and each.ended.verdict == "error"]
    return errors if node.planned.tolerates else errors + [said for child in node.children for said in unallowed(child)]


def miscounted(node: Execution) -> list[str]:
    """Its readings passed and failed against what is in it; a link that was lost between two rounds is a failure of a round."""
    told = {each.name: each.value for each in node.readings if each.name in ("passed", "failed", "rounds")}
    if "failed" not in told:
        return []
    ends = [(each.where.rounds, each.ended) for each in node.children if each.ended]
    if node.planned.role == "repeat":
        bad = {rounds for rounds, ended in ends if ended.counts_as != "pass"}
        good = {rounds for rounds, ended in ends if ended.verdict == "pass"} - bad
        counted = {"passed": len(good), "failed": len(bad), "rounds": len({rounds for rounds, _ in ends})}
        lost = told["failed"] - counted["failed"]
        counted |= {"failed": counted["failed"] + lost, "passed": counted["passed"] - lost} if 0 < lost < 2 else {}
    else:
        counted = {"passed": sum(ended.verdict == "pass" for _, ended in ends),
                   "failed": sum(ended.counts_as != "pass" for _, ended in ends)}  # fmt: skip
    return [] if told == counted else [f"{node.where.label} tells {told}, and it is {counted}"]


def planned_once(left: Ran) -> list[str]:
    """Every node of the plan is there; outside repetitions just once."""
    [start] = [event for event in left.events if isinstance(event, RunStarted)]
    ids = [each.planned.id for each in left.record.executions]
    todo, said = [(node, False) for node in start.nodes], []
    while todo:
        node, repeated = todo.pop()
        todo += [(child, repeated or node.role == "repeat") for child in node.children]
        count = ids.count(node.id)
        said += [f"{node.id} is there {count} times"] if not count or (count > 1 and not repeated) else []
    return said


def test_every_step_of_any_tree_ends_once() -> None:
    assert {seed: said for seed in range(QUICK) if (said := wrong(seed))} == {}


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_every_step_of_many_trees_ends_once() -> None:
    assert {seed: said for seed in range(QUICK, SLOW) if (said := wrong(seed))} == {}


def main() -> None:
    first, count = map(int, sys.argv[1:])
    for seed in range(first, first + count):
        for sentence in wrong(seed):
            print(seed, sentence, flush=True)


if __name__ == "__main__":
    main()
