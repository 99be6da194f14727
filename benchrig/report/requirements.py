"""What a run says of each requirement of its plan: passed, failed, or not proven and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from benchrig.report import explain, whole
from benchrig.report.outline import Entry, Once, outline, verdict_over
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from benchrig.record.events import PlannedNode, PlannedRequirement
    from benchrig.record.model import Record

CameTo: TypeAlias = Literal["passed", "failed", "not proven"]
# What keeps a step from proving anything, and what is said of it.
_OPEN = {"error": "in error", "cut off": "cut off", "not run": "not run", "skip": "skipped"}


class Proof(NamedTuple):
    """What a requirement came to; `why` is about the steps that prove it."""

    name: str
    says: str
    came_to: CameTo
    why: str

    @property
    def line(self) -> str:
        """'R-12: proven by steps 4, 7: passed'."""
        return f"{self.name}: {self.why}: {self.came_to}"


def proofs(record: Record) -> Iterator[Proof]:
    """Of each requirement, in the order of the plan."""
    entries = {entry.node.id: entry for entry in outline(record)} if record.run.requirements else {}
    for name, requirement in record.run.requirements.items():
        came_to, why = _judged(record, requirement, entries)
        yield Proof(plain(name, explain.NAME_LIMIT), plain(requirement.says, explain.SENTENCE_LIMIT), came_to, why)


def proving(node: PlannedNode) -> str:
    """The ids of the requirements that a step proves."""
    return ", ".join(node.proves)


def _judged(record: Record, requirement: PlannedRequirement, entries: dict[str, Entry]) -> tuple[CameTo, str]:
    here = {id_: entries[id_] for id_ in requirement.steps if id_ in entries}
    if failed := [id_ for id_, entry in here.items() if entry.state == "fail"]:
        return "failed", f"{explain.numbered(failed)} failed"
    if open_ := _open(record, requirement, here):
        return "not proven", open_
    passed = [id_ for id_, entry in here.items() if entry.state == "pass"]
    left = [id_ for id_ in here if id_ not in passed]
    if not passed:
        return "not proven", f"{explain.numbered(left)} left out"
    inside = [entry for id_ in passed for entry in _inside(id_, entries)]
    if not any(_judges(entry) for entry in inside):
        return "not proven", f"no limit of {explain.numbered(passed)} was judged"
    if unmeasured := _limits(inside, _unmeasured):
        return "not proven", f"{unmeasured[0]} was not judged"
    left += [entry.node.id for entry in inside if entry.state == "left out"]
    without = [explain.numbered(left)] * bool(left) + _limits(inside, _left_out)
    return "passed", ", ".join([f"proven by {explain.numbered(passed)}", *(f"{each} left out" for each in without)])


def _open(record: Record, requirement: PlannedRequirement, here: dict[str, Entry]) -> str:
    """Why it can be neither passed nor failed; '' where nothing speaks against that."""
    if not requirement.steps:
        return "no step proves it"
    if record.ended is not None and record.ended.cause == "internal":
        return "a bug in benchrig ended the run"
    for state, word in _OPEN.items():
        if steps := [id_ for id_, entry in here.items() if entry.state == state]:
            return f"{explain.numbered(steps)} {word}"
    missing = [id_ for id_ in requirement.steps if id_ not in here]
    return f"{explain.numbered(missing)} not in this run" if missing else ""


def _inside(id_: str, entries: dict[str, Entry]) -> Iterable[Entry]:
    """The step, and the steps in it."""
    return (entry for other, entry in entries.items() if other == id_ or other.startswith(f"{id_}."))


def _limits(inside: Iterable[Entry], names: Callable[[Entry], list[str]]) -> list[str]:
    """'the limit on value of step 4' for each of these."""
    return [f"the limit on {plain(name, explain.NAME_LIMIT)} of step {e.node.id}" for e in inside for name in names(e)]


def _unmeasured(entry: Entry) -> list[str]:
    """The limits that the radio gave nothing to hold against, in one round at least."""
    if isinstance(entry, Once):
        return [limit.name for limit in explain.unmeasured(entry.step)]
    seen = {limit.name for each in entry.executions for limit in explain.unmeasured(each)}
    return [
        each.name for each in entry.readings.values() if each.name in seen or (each.not_judged and not each.left_out)
    ]


def _left_out(entry: Entry) -> list[str]:
    """The limits that a condition left out, of a step that ran; in rounds, in all of them."""
    if isinstance(entry, Once):
        return [limit.name for limit in entry.step.not_judged if whole.is_left_out(entry.step, limit)]
    ran = entry.state == "pass"
    return [each.name for each in entry.readings.values() if ran and verdict_over(each) == "left out"]


def _judges(entry: Entry) -> bool:
    """Whether a limit of the step was judged."""
    if isinstance(entry, Once):
        return any(reading.judgement is not None for reading in entry.step.readings)
    return any(reading.passed or reading.failed for reading in entry.readings.values())
