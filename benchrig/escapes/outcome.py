"""What the run of a plan on a broken device came to: by which step and reading it was noticed. Pure, from the record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import msgspec

from benchrig.escapes.results import About, Came, Catch, Outcome, is_wrong
from benchrig.record.events import Where
from benchrig.record.model import Execution, Record


def came_to(record: Record, seed: int, through: int | None = None) -> Came:
    """`through` so many nodes of the plan count; None for all. What is left out, or not judged, is no pass."""
    ended = record.ended
    assert ended is not None, "a trial says its verdict"
    count = len(record.nodes) if through is None else through
    if ended.verdict == "pass":
        return Came(seed, "pass", ended.at, count)
    decided = _at(record, ended.root)
    by = _first(decided, record)
    also = [each for each in _together(_catches(record.nodes[:count])) if _key(each) != _key(by)]
    elapsed = decided.ended.at if decided and decided.ended else ended.at
    return Came(seed, ended.verdict, elapsed, count, by, also)


def outcome_of(fault: About, trials: Sequence[Came]) -> Outcome:
    """What trials with several seeds come to: a plan that passes the unit now and then lets it through."""
    caught = [each.by for each in trials if each.by]
    if any(is_wrong(fault, each) for each in caught):
        return "blamed wrongly"
    if len(caught) == len(trials):
        return "caught"
    if fault.family == "bench":
        return "harmless"
    return "by luck" if caught else "escaped"


def _at(record: Record, where: Where | None) -> Execution | None:
    wanted = where.execution if where else None
    return next((each for each in record.executions if each.where.execution == wanted), None)


def _first(decided: Execution | None, record: Record) -> Catch:
    """The end that decided; of a step with several broken limits the one that the plan names first."""
    ended = record.ended
    assert ended is not None
    cause = ended.cause or "internal"
    if decided is None:
        node = ended.root.node if ended.root else ""
        return Catch(node, _name(record, node), "", cause, ended.message)
    own = next((each for each in _of(decided) if each.cause == cause), None)
    return own or Catch(decided.where.node, decided.planned.name, "", cause, ended.message)


def _name(record: Record, node: str) -> str:
    """Of a step whose execution is not on record."""
    waiting = [*record.run.nodes]
    while waiting:
        planned = waiting.pop()
        if planned.id == node:
            return planned.name
        waiting += planned.children
    return ""


def _catches(executions: Iterable[Execution]) -> Iterator[Catch]:
    """All that did not pass. What failed where a limit of the step around it allows that has caught nothing."""
    for each in executions:
        yield from _of(each)
        if not (each.planned.tolerates and each.ended and each.ended.verdict == "pass"):
            yield from _catches(each.children)


def _of(execution: Execution) -> Iterator[Catch]:
    """The broken limits of a step; or that it ended without any of them."""
    node, name, ended = execution.where.node, execution.planned.name, execution.ended
    broken = [each for each in execution.readings if each.judgement and not each.judgement.passed]
    for each in broken:
        assert each.judgement is not None
        yield Catch(node, name, each.name, "limit", each.judgement.sentence)
    if ended is None or ended.cause is None or ended.root is not None or ended.verdict not in ("fail", "error"):
        return
    if not broken or ended.cause != "limit":
        yield Catch(node, name, "", ended.cause, ended.message)


def _key(catch: Catch) -> tuple[str, str]:
    return catch.node, catch.reading


def _together(catches: Iterable[Catch]) -> list[Catch]:
    """Each limit once, over all rounds."""
    found: dict[tuple[str, str], Catch] = {}
    for each in catches:
        before = found.get(_key(each))
        found[_key(each)] = msgspec.structs.replace(before, times=before.times + 1) if before else each
    return [*found.values()]
