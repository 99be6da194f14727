"""What a run comes to as a whole, in sentences for every report: why it did not pass, what was skipped, left out or
tolerated, the last line."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from benchrig.report import at_line, explain
from benchrig.report.explain import NAME_LIMIT, SENTENCE_LIMIT, State, numbered, state, title
from benchrig.report.outline import Once, OverRounds, allowed_by, once, outline, over_rounds
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchrig.record.events import Noted, NotJudged, PlannedNode, RunEnded, Verdict, Where
    from benchrig.record.model import Execution, Record

_BAD = ("fail", "error", "cut off")
# Of the rounds in which a step failed, so many are told one by one.
_ROUNDS = 3
_OF_SIMULATED = {0: "all limits held", 1: "the simulated unit failed"}


class Trouble(NamedTuple):
    """A verdict of the run that no step shows."""

    verdict: Verdict
    cause: str
    message: str
    advice: str = ""


class Failure(NamedTuple):
    """A step that did not pass; the labels of later ones that failed in the very same words: one cause is told once. In
    `more` rounds it failed besides, and the limit of the step `tolerated` allowed it."""

    step: Execution
    alike: list[str]
    more: int = 0
    tolerated: str = ""


def failures(record: Record) -> Iterator[Failure]:
    groups: dict[object, Failure] = {}
    for entry in outline(record):
        if isinstance(entry, OverRounds):
            groups |= {each.step.where: each for each in _in_rounds(entry)}
        elif entry.state in _BAD and tells(entry.step):
            step = entry.step
            words = explain.own_message(step) if not explain.failed_readings(step) else ""
            key = (step.ended and step.ended.cause, words, entry.tolerated) if words else step.where
            first = groups.setdefault(key, Failure(step, [], tolerated=entry.tolerated))
            if first.step is not step:
                first.alike.append(step.where.label)
    yield from groups.values()


def failures_of(record: Record, node: str) -> Iterator[Failure]:
    """Those of one step of the plan by its id, and of what is in it; each for itself."""
    for entry in outline(record):
        if entry.node.id.partition(".")[0] != node:
            continue
        if isinstance(entry, OverRounds):
            yield from _in_rounds(entry)
        elif entry.state in _BAD and tells(entry.step):
            yield Failure(entry.step, [], tolerated=entry.tolerated)


def tells(step: Execution) -> bool:
    """Whether it has something to say about itself: of a composite step often what is in it has decided."""
    if step.planned.role == "step" or explain.failed_readings(step):
        return True
    if step.ended is None:
        return not any(child.opened is not None and child.ended is None for child in step.children)
    return step.ended.root is None


def _in_rounds(entry: OverRounds) -> Iterator[Failure]:
    told = [each for each in entry.executions if state(each) in _BAD and tells(each)]
    for step in told[:_ROUNDS]:
        more = entry.bad - len(told[:_ROUNDS]) if step is told[:_ROUNDS][-1] else 0
        yield Failure(step, [], max(0, more), entry.tolerated)


def tolerated(record: Record) -> Iterator[str]:
    """What failed and a limit allowed to fail."""
    for entry in outline(record):
        by = f", which {allowed_by(entry.tolerated)} allows"
        if isinstance(entry, Once):
            if entry.tolerated and entry.state == "fail":
                yield f"step {title(entry.step)} failed{by}"
        elif entry.tolerated and entry.bad:
            yield f"step {over_title(entry)} failed in {entry.bad} of {entry.times} rounds{by}"


def shown(record: Record) -> Iterator[str]:
    """What rounds have shown, and with which confidence."""
    for step in [entry.step for entry in outline(record) if isinstance(entry, Once)]:
        for reading in step.readings:
            judgement = reading.judgement
            if judgement is not None and judgement.passed and judgement.confidence is not None:
                said = plain(judgement.sentence, SENTENCE_LIMIT)
                yield f"step {title(step)}, {plain(reading.name, NAME_LIMIT)}: {said}"


def summary(entry: OverRounds) -> str:
    """'passed in 190 of 200 rounds, failed in 10'."""
    words = {"pass": "passed", "fail": "failed", "error": "ended in error", "skip": "skipped", "left out": "left out"}
    told = [f"{word} in {entry.verdicts[verdict]}" for verdict, word in words.items() if entry.verdicts[verdict]]
    first, *rest = told or ["ran in 0"]
    allowed = f" ({allowed_by(entry.tolerated)} allows that)" if entry.tolerated and entry.bad else ""
    return ", ".join([f"{first} of {entry.times} rounds", *rest]) + allowed


def over_title(entry: OverRounds) -> str:
    return f"{entry.node.id} {plain(entry.node.written or entry.node.name, NAME_LIMIT)}".rstrip()


# --- notes


def retries(record: Record) -> Iterator[str]:
    """The attempts that were needed."""
    for entry in outline(record):
        if isinstance(entry, Once):
            if told := explain.attempts(entry.step):
                yield f"step {title(entry.step)} {told}"
        elif entry.retried:
            yield f"step {over_title(entry)} was tried again {entry.retried} times in {entry.times} rounds"


def notes(record: Record) -> Iterator[str]:
    """What a reader should know, first of the run, then of its steps; what was sent is told by `writes`."""
    ended = [record.ended, *(step.ended for step in record.executions)]
    told = {each.message for each in ended if each is not None and each.message and each.verdict != "skip"}
    for note in record.notes:
        if note.text not in told:  # what did not pass says so itself
            yield f"note: {plain(note.text, SENTENCE_LIMIT)}"
    yield from (_noted(step, note) for step in _noting(record) for note in step.notes if note.sent is None)


def writes(record: Record) -> Iterator[str]:
    """The bytes that steps sent."""
    yield from (_noted(step, note) for step in _noting(record) for note in step.notes if note.sent is not None)


def _noting(record: Record) -> list[Execution]:
    """Of the rounds of a repetition those that failed."""
    return [*once(record), *(step for entry in over_rounds(record) for step in entry.failed[:_ROUNDS])]


def _noted(step: Execution, note: Noted) -> str:
    return f"note, step {step.where.label}: {plain(note.text, SENTENCE_LIMIT)}"


# --- what was not done


def skipped(record: Record) -> Iterator[str]:
    """One line for all steps that were skipped, or left out, for the same reason."""
    groups: dict[tuple[Where | None, str, str], list[str]] = {}
    for step in once(record):
        if step.ended is not None and step.ended.verdict == "skip":
            key = (step.ended.root, step.ended.message, _UNDONE[step.ended.came_to])
            labels = groups.setdefault(key, [])
            labels += [] if step.where.label.rpartition(".")[0] in labels else [step.where.label]
    for (root, message, word), labels in groups.items():
        yield f"{numbered(labels)} {word}: {_reason(root, message)}"
    for entry in over_rounds(record):
        yield from _skipped_rounds(entry)


_UNDONE = {"skip": "skipped", "left out": "left out"}


def _skipped_rounds(entry: OverRounds) -> Iterator[str]:
    for verdict, word in _UNDONE.items():
        if count := entry.verdicts[verdict]:
            yield f"step {over_title(entry)} {word} in {count} of {entry.times} rounds{why_undone(entry, verdict)}"


def why_undone(entry: OverRounds, verdict: str) -> str:
    """': only if market equals 'us'', of the first such round on record; '' where none is."""
    ended = (each.ended for each in entry.executions if each.ended and verdict in _UNDONE)
    ends = (end for end in ended if end.came_to == verdict)
    return next((f": {_reason(end.root, end.message)}" for end in ends), "")


def _reason(root: Where | None, message: str) -> str:
    reason = plain(message, SENTENCE_LIMIT)
    return reason or (f"of step {root.label}" if root is not None else "no reason was recorded")


def not_judged(record: Record) -> Iterator[str]:
    """One line for each limit that the radio gave nothing to hold against."""
    for step, limit in _limits_left(record):
        if limit.unmeasured:
            leave = ", which the run may pass without" if limit.allowed else ""
            yield f"step {title(step)}: {plain(limit.name, NAME_LIMIT)} is not judged{leave}: {_why(limit)}"


def limits_left_out(record: Record) -> Iterator[str]:
    """One line for each limit that a condition of the plan left out, of a step that ran."""
    for step, limit in _limits_left(record):
        if is_left_out(step, limit):
            yield f"step {title(step)}: the limit on {plain(limit.name, NAME_LIMIT)} is left out: {_why(limit)}"


def is_left_out(step: Execution, limit: NotJudged) -> bool:
    return limit.allowed and not limit.unmeasured and state(step) not in ("left out", "skip")


def _why(limit: NotJudged) -> str:
    return plain(limit.reason, SENTENCE_LIMIT)


def _limits_left(record: Record) -> Iterator[tuple[Execution, NotJudged]]:
    """Each limit once: of a repetition that of the first round without a judgement."""
    found: dict[object, tuple[Execution, NotJudged]] = {}
    for step in record.executions:
        for limit in step.not_judged:
            found.setdefault((step.where.node, limit.name, limit.unmeasured), (step, limit))
    yield from found.values()


def left_out(record: Record) -> str:
    """What a partial run did not do; '' for a whole one."""
    count = record.run.left_out
    if not count:
        return ""
    were = "was" if count == 1 else "were"
    changes = list(dict.fromkeys(each for node in record.run.nodes for each in node.left_before))
    without = f"; {explain.changes_left_out(changes)}" if changes else ""
    return f"{count} of the plan's {count + _leaves(record.run.nodes)} steps {were} left out{without}"


def _leaves(nodes: list[PlannedNode]) -> int:
    return sum(_leaves(node.children) if node.children else 1 for node in nodes)


# --- the verdict


def run_trouble(record: Record) -> Trouble | None:
    """What went wrong with the run and shows in no step; None when the steps tell it all."""
    states: set[str] = {state(step) for step in record.executions}
    ended = record.ended
    if ended is None:
        return None if "cut off" in states else Trouble("error", "internal", explain.CUT_OFF)
    message = plain(ended.message, SENTENCE_LIMIT) or explain.EXIT_MEANINGS.get(ended.exit_code, "")
    if ended.exit_code == 5 and ended.root is None:
        return Trouble("error", "plan", message)
    shown = {"fail": {"fail"}, "error": {"error", "cut off"}}.get(ended.verdict)
    if shown is None or shown & (states - _tolerated_states(record)):
        return None
    return Trouble(ended.verdict, ended.cause or "internal", message, plain(ended.advice, SENTENCE_LIMIT))


def _tolerated_states(record: Record) -> set[str]:
    """'fail', where every step that failed was allowed to."""
    failed = [entry.tolerated for entry in outline(record) if _fails(entry)]
    return {"fail"} if failed and all(failed) else set()


def _fails(entry: Once | OverRounds) -> bool:
    return bool(entry.verdicts["fail"]) if isinstance(entry, OverRounds) else entry.state == "fail"


def reason(record: Record) -> str:
    """What decided, in one line: 'step 3 read temperature: fail (limit): …'; '' for a pass."""
    trouble = run_trouble(record)
    if trouble is not None:
        return f"the run: {trouble.verdict} ({trouble.cause}): {trouble.message}"
    step = decisive(record)
    if step is None:
        return ""
    head = f"step {explain.telling_title(step)}: {state(step)}"
    if step.ended is None:
        return f"{head}: {explain.CUT_OFF}"
    return f"{head} ({step.ended.cause}): {plain(explain.said(step), SENTENCE_LIMIT)}"


def decisive(record: Record) -> Execution | None:
    """The step whose end decided; None for a pass, and where none did."""
    if record.ended is not None and record.ended.verdict == "pass":
        return None
    root = record.ended.root if record.ended else None
    decided = next((step for step in record.executions if step.where == root and state(step) in _BAD), None)
    if decided is not None:
        return decided
    return next((each.step for each in failures(record) if not each.tolerated), None)


def advice(record: Record) -> str:
    """What to do about what decided; '' when nothing is known."""
    if (trouble := run_trouble(record)) is not None:
        return trouble.advice
    step = decisive(record)
    return plain(step.ended.advice, SENTENCE_LIMIT) if step is not None and step.ended else ""


def marks(record: Record) -> list[str]:
    """What keeps a verdict from being one on a unit as a whole, in capitals."""
    count = sum(limit.allowed and limit.unmeasured for _, limit in _limits_left(record))
    return (
        ["SIMULATED"] * record.run.simulated
        + [*filter(None, [at_line.mark(record)])]
        + ["PARTIAL"] * bool(record.run.left_out)
        + [f"{count} {'LIMIT' if count == 1 else 'LIMITS'} NOT JUDGED"] * bool(count)
    )


def verdict_line(record: Record) -> str:
    """'the unit failed (exit code 1): 2 of 7 steps passed, 3 failed, 2 skipped; 4 limits judged, 2 broken; 13.810 s'."""
    head = explain.CUT_OFF if record.ended is None else _exit_text(record, record.ended)
    return f"{head}: {_step_counts(record)}; {_limit_counts(record)}; {duration(record):.3f} s"


def _exit_text(record: Record, ended: RunEnded) -> str:
    meanings = explain.EXIT_MEANINGS | (_OF_SIMULATED if record.run.simulated else {})
    meaning = meanings.get(ended.exit_code, "an exit code without a meaning")
    if ended.exit_code == 5 and ended.judged:
        meaning = explain.NOT_ALL
    if ended.exit_code == 0 and next(tolerated(record), None):
        meaning = f"the {'simulated ' * record.run.simulated}unit passed"
    return f"{at_line.came_to(record, meaning)} (exit code {ended.exit_code})"


def counts(entry: Once | OverRounds) -> bool:
    """Whether it is one of the steps that are counted: one with steps in it is where it has limits, and where it did not
    pass, and only it says why."""
    if entry.node.counts:
        return True
    if isinstance(entry, OverRounds):
        return any(tells(step) for step in entry.failed)
    return entry.state in _BAD and tells(entry.step)


def _step_counts(record: Record) -> str:
    """Each step once: one of a repetition by the worst of its rounds."""
    counted = [entry for entry in outline(record) if counts(entry)]
    found = Counter(entry.state for entry in counted)
    allowed = sum(bool(entry.tolerated) and entry.state == "fail" for entry in counted)
    words: dict[State, str] = {
        "fail": "failed", "error": "in error", "skip": "skipped", "left out": "left out", "cut off": "cut off",
        "not run": "not run",
    }  # fmt: skip
    told = {word: _of_them(found[key], allowed if key == "fail" else 0) for key, word in words.items() if found[key]}
    rest = "".join(f", {found[key]} {word}{told[word]}" for key, word in words.items() if found[key])
    return f"{found['pass']} of {found.total()} steps passed{rest}"


def _of_them(count: int, allowed: int) -> str:
    return "" if not allowed else " (tolerated)" if allowed == count else f" ({allowed} tolerated)"


def _limit_counts(record: Record) -> str:
    from benchrig.record.accounting import fates_of

    judged, left = fates_of(record)
    broken = allowed = 0
    for entry in outline(record):
        found = _broken(entry)
        broken += found
        allowed += found if entry.tolerated else 0
    limits = "limit" if judged == 1 else "limits"
    rest = f", {left} not judged" if left else ""
    return f"{judged} {limits} judged, {broken} broken{_of_them(broken, allowed)}{rest}"


def _broken(entry: Once | OverRounds) -> int:
    if isinstance(entry, Once):
        return len(explain.failed_readings(entry.step))
    return sum(reading.failed for reading in entry.readings.values())


def duration(record: Record) -> float:
    """Seconds from the start to the verdict, or to the last thing that is known."""
    if record.ended is not None:
        return record.ended.at
    known = [event.at for step in record.executions for event in (step.opened, step.ended) if event]
    return max(known, default=0.0)
