"""What a record means, in words: the state of each step, why it failed, what it all comes to.

The sentences are the same in every report. They are plain text (see text/escape.py), ready for any output. Loading
this loads nothing heavy, nor does text/escape.py: `benchrig run --help` loads every report for its options.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from benchrig.text.escape import hex_text, plain, plain_lines, value_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchrig.record.model import Execution, Noted, NotJudged, Reading, Record, RunEnded, Verdict, Where

State: TypeAlias = "Verdict | Literal['cut off', 'not run']"
Outcome: TypeAlias = "Verdict | Literal['cut off', 'nothing judged', 'not all judged']"

NAME_LIMIT = 80
SENTENCE_LIMIT = 1000

_ATTEMPTS = 10
_ENDED_ON: dict[State, str] = {
    "pass": "passed on", "fail": "failed on", "error": "ended in error on", "skip": "skipped on",
    "cut off": "cut off in", "not run": "never came to",
}  # fmt: skip

EXIT_MEANINGS = {
    0: "the unit passed",
    1: "the unit failed",
    2: "stopped by the operator or interrupted",
    3: "a bug in benchrig",
    4: "the plan or the command is wrong",
    5: "nothing was judged, so nothing was proved",
    7: "the station could not test",
}
NOT_ALL = "not all that the plan asks was judged"
CUT_OFF = "the run died before its verdict"
SIMULATED = "this ran on a virtual radio: no real unit was tested"
_OF_SIMULATED = {0: "all limits held", 1: "the simulated unit failed"}


class Trouble(NamedTuple):
    """A verdict of the run that no step shows."""

    verdict: Verdict
    cause: str
    message: str
    advice: str = ""


def state(step: Execution) -> State:
    """The verdict of a step, or what stands in its place when it did not come so far."""
    if step.ended is not None:
        return step.ended.verdict
    return "not run" if step.opened is None else "cut off"


def outcome(record: Record) -> Outcome:
    """The verdict of the run; a pass that proves nothing is not called one."""
    if record.ended is None:
        return "cut off"
    if record.ended.exit_code == 5:
        return "not all judged" if record.ended.judged else "nothing judged"
    return record.ended.verdict


def title(step: Execution, limit: int = NAME_LIMIT) -> str:
    """'3 read temperature', unique in its plan by the number."""
    return f"{step.where.label} {plain(step.planned.name, limit)}".rstrip()


def plan_name(record: Record) -> str:
    return plain(record.run.plan, NAME_LIMIT).strip() or "plan without a name"


def plan_title(record: Record) -> str:
    revision = plain(record.run.revision, NAME_LIMIT)
    return plan_name(record) + (f", revision {revision}" if revision else "")


def unit_names(record: Record) -> list[str]:
    """All that the unit is known by, the best name first: its serial number."""
    unit = record.unit
    names = (unit.serial, unit.name, unit.address) if unit else ()
    return [plain(name, NAME_LIMIT).strip() for name in names if name.strip()] or ["not known"]


def given_serial(record: Record) -> str:
    """The serial number that the run was started with; '' without one. An absent unit is known by no other name."""
    return plain(record.run.given_serial or record.run.given.get("serial", ""), NAME_LIMIT).strip()


def unit_title(record: Record) -> str:
    unit = record.unit
    kind = f" ({plain(unit.address_type, NAME_LIMIT)})" if unit and unit.address and unit.address_type else ""
    given = given_serial(record)
    expected = f", given serial number {given}" if given and not (unit and unit.serial == given) else ""
    return ", ".join(unit_names(record)) + kind + expected


def failed_readings(step: Execution) -> list[Reading]:
    return [r for r in step.readings if r.judgement is not None and not r.judgement.passed]


def unmeasured(step: Execution) -> list[NotJudged]:
    """The limits that the radio gave nothing to hold against."""
    return [limit for limit in step.not_judged if limit.unmeasured]


def explanation(step: Execution) -> Iterator[str]:
    """Why a step did not pass, a line at a time, details indented."""
    if step.ended is None and step.opened is not None:
        yield f"the run died in this step, which had begun at {step.opened.at:.3f} s"
    if own := own_message(step):
        yield own
        if step.planned.place:
            yield f"  {plain(step.planned.place)}"
    for reading in failed_readings(step):
        yield from _broken(reading)
    if step.ended is not None and step.ended.advice:
        yield f"advice: {plain(step.ended.advice, SENTENCE_LIMIT)}"
    if step.ended is not None and step.ended.traceback:
        yield from plain_lines(step.ended.traceback)


def failures(record: Record) -> Iterator[tuple[Execution, list[str]]]:
    """The steps that did not pass, each with the labels of later ones that failed in the very same words: one cause
    is told once."""
    groups: dict[object, tuple[Execution, list[str]]] = {}
    for step in record.steps:
        if state(step) in ("fail", "error", "cut off"):
            said = own_message(step) if not failed_readings(step) else ""
            first = groups.setdefault((step.ended and step.ended.cause, said) if said else step.where.label, (step, []))
            if first[0] is not step:
                first[1].append(step.where.label)
    yield from groups.values()


def own_message(step: Execution) -> str:
    """The message of a step without the sentences that its readings say themselves."""
    return plain(step.ended.own_message, SENTENCE_LIMIT) if step.ended else ""


def _broken(reading: Reading) -> Iterator[str]:
    judgement = reading.judgement
    assert judgement is not None
    unit = f" {plain(reading.unit, NAME_LIMIT)}" if reading.unit else ""
    facts = [f"measured {measured(reading)}{unit}", f"limit {plain(judgement.limit, SENTENCE_LIMIT)}"]
    if judgement.margin is not None:
        facts.append(f"margin {value_text(judgement.margin)}{_difference_unit(reading.unit)}")
    if reading.raw is not None and not _is_bytes(reading):
        facts.append(f"raw {hex_text(reading.raw)}")
    if judgement.place:
        facts.append(plain(judgement.place))
    yield f"{plain(reading.name, NAME_LIMIT)}: {plain(judgement.sentence, SENTENCE_LIMIT)}"
    yield "  " + "; ".join(facts)


def _difference_unit(unit: str) -> str:
    """' dB' for a level; a record may hold a unit that is not known here, and keeps it."""
    from benchrig.source.shape import Misfit
    from benchrig.values.judging import difference_unit

    try:
        shown = difference_unit(unit)
    except Misfit:
        shown = unit
    return f" {plain(shown, NAME_LIMIT)}" if shown else ""


def measured(reading: Reading, limit: int = NAME_LIMIT) -> str:
    """The value of a reading; of many numeric samples the least and the greatest, and bytes in pairs of digits."""
    samples = reading.samples
    if _is_bytes(reading):
        return hex_text(str(reading.raw), max(1, limit // 3))
    if samples is None or samples.minimum is None or samples.maximum is None:
        return value_text(reading.value, limit) or "-"
    low, high = value_text(samples.minimum, limit), value_text(samples.maximum, limit)
    return low if low == high else f"{low} to {high}"


def _is_bytes(reading: Reading) -> bool:
    """Whether the value is its bytes: no text reads as the hex digits of itself."""
    return reading.raw is not None and reading.value == reading.raw


def attempts(step: Execution, *, causes: bool = True) -> str:
    """'passed on attempt 2 (attempt 1, link: …)'; '' when the first attempt decided. Without `causes` no brackets."""
    count = step.ended.attempts if step.ended else len(step.retries) + 1
    if count == 1 and not step.retries:
        return ""
    told = step.retries[:_ATTEMPTS]
    failed = [f"attempt {a.where.attempt}, {a.cause}: {plain(a.message, SENTENCE_LIMIT)}" for a in told]
    return f"{_ENDED_ON[state(step)]} attempt {count}" + (f" ({'; '.join(failed)})" if failed and causes else "")


def notes(record: Record) -> Iterator[str]:
    """What a reader should know, first of the run, then of its steps; what was sent is told by `writes`."""
    ended = [record.ended, *(step.ended for step in record.steps)]
    told = [each.message for each in ended if each is not None and each.message and each.verdict != "skip"]
    for note in record.notes:
        if note.text not in told:  # what did not pass says so itself
            yield f"note: {plain(note.text, SENTENCE_LIMIT)}"
    yield from (_noted(step, note) for step in record.steps for note in step.notes if note.sent is None)


def writes(record: Record) -> Iterator[str]:
    """The bytes that steps sent."""
    yield from (_noted(step, note) for step in record.steps for note in step.notes if note.sent is not None)


def _noted(step: Execution, note: Noted) -> str:
    return f"note, step {step.where.label}: {plain(note.text, SENTENCE_LIMIT)}"


def skipped(record: Record) -> Iterator[str]:
    """One line for all steps that were skipped for the same reason."""
    groups: dict[tuple[Where | None, str], list[str]] = {}
    for step in record.steps:
        if step.ended is not None and step.ended.verdict == "skip":
            groups.setdefault((step.ended.root, step.ended.message), []).append(step.where.label)
    for (root, message), labels in groups.items():
        yield f"{numbered(labels)} skipped: {_reason(root, message)}"


def numbered(labels: list[str]) -> str:
    """'step 3', 'steps 3, 5-9'."""
    return f"{'step' if len(labels) == 1 else 'steps'} {_ranges(labels)}"


def _reason(root: Where | None, message: str) -> str:
    reason = plain(message, SENTENCE_LIMIT)
    return reason or (f"of step {root.label}" if root is not None else "no reason was recorded")


def _ranges(labels: list[str]) -> str:
    """'3, 5-9, 12.1' for labels in the order of the plan."""
    runs: list[list[str]] = []
    for label in labels:
        if runs and _follows(label, runs[-1][-1]):
            runs[-1].append(label)
        else:
            runs.append([label])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _follows(label: str, before: str) -> bool:
    return label.isdecimal() and before.isdecimal() and int(label) == int(before) + 1


def run_trouble(record: Record) -> Trouble | None:
    """What went wrong with the run and shows in no step; None when the steps tell it all."""
    states = {state(step) for step in record.steps}
    ended = record.ended
    if ended is None:
        return None if "cut off" in states else Trouble("error", "internal", CUT_OFF)
    message = plain(ended.message, SENTENCE_LIMIT) or EXIT_MEANINGS.get(ended.exit_code, "")
    if ended.exit_code == 5 and ended.root is None:
        return Trouble("error", "plan", message)
    shown = {"fail": {"fail"}, "error": {"error", "cut off"}}.get(ended.verdict)
    if shown is None or shown & states:
        return None
    return Trouble(ended.verdict, ended.cause or "internal", message, plain(ended.advice, SENTENCE_LIMIT))


def reason(record: Record) -> str:
    """What decided, in one line: 'step 3 read temperature: fail (limit): …'; '' for a pass."""
    trouble = run_trouble(record)
    if trouble is not None:
        return f"the run: {trouble.verdict} ({trouble.cause}): {trouble.message}"
    step = _decisive(record)
    if step is None:
        return ""
    head = f"step {title(step)}: {state(step)}"
    if step.ended is None:
        return f"{head}: {CUT_OFF}"
    return f"{head} ({step.ended.cause}): {plain(said(step), SENTENCE_LIMIT)}"


def _decisive(record: Record) -> Execution | None:
    root = record.ended.root if record.ended else None
    bad = [step for step in record.steps if state(step) in ("fail", "error", "cut off")]
    return next((step for step in bad if step.where == root), bad[0] if bad else None)


def said(step: Execution) -> str:
    """What a step and its readings say, with the names of the readings where they say more than 'value'."""
    judged = [(reading.name, reading.judgement.sentence) for reading in failed_readings(step) if reading.judgement]
    named = (sentence if name == "value" else f"{name}: {sentence}" for name, sentence in judged)
    return "; ".join(filter(None, (own_message(step), *named)))


def advice(record: Record) -> str:
    """What to do about what decided; '' when nothing is known."""
    if (trouble := run_trouble(record)) is not None:
        return trouble.advice
    step = _decisive(record)
    return plain(step.ended.advice, SENTENCE_LIMIT) if step is not None and step.ended else ""


def marks(record: Record) -> list[str]:
    """What keeps a verdict from being one on a unit as a whole, in capitals."""
    count = len(allowed(record))
    return (
        ["SIMULATED"] * record.run.simulated
        + ["PARTIAL"] * bool(record.run.left_out)
        + [f"{count} {'LIMIT' if count == 1 else 'LIMITS'} NOT JUDGED"] * bool(count)
    )


def allowed(record: Record) -> list[NotJudged]:
    """The limits without which the run was allowed to pass."""
    return [limit for step in record.steps for limit in step.not_judged if limit.allowed]


def not_judged(record: Record) -> Iterator[str]:
    """One line for each limit that the radio gave nothing to hold against."""
    for step in record.steps:
        for limit in unmeasured(step):
            leave = ", which the run may pass without" if limit.allowed else ""
            name, why = plain(limit.name, NAME_LIMIT), plain(limit.reason, SENTENCE_LIMIT)
            yield f"step {title(step)}: {name} is not judged{leave}: {why}"


def left_out(record: Record) -> str:
    """What a partial run did not do; '' for a whole one."""
    count = record.run.left_out
    were = "was" if count == 1 else "were"
    return f"{count} of the plan's {count + len(record.steps)} steps {were} left out" if count else ""


def verdict_line(record: Record) -> str:
    """'the unit failed (exit code 1): 2 of 7 steps passed, 3 failed, 2 skipped; 4 limits judged, 2 broken; 13.810 s'."""
    head = CUT_OFF if record.ended is None else _exit_text(record.ended, simulated=record.run.simulated)
    return f"{head}: {_step_counts(record)}; {_limit_counts(record)}; {duration(record):.3f} s"


def _exit_text(ended: RunEnded, *, simulated: bool) -> str:
    meanings = EXIT_MEANINGS | (_OF_SIMULATED if simulated else {})
    meaning = meanings.get(ended.exit_code, "an exit code without a meaning")
    if ended.exit_code == 5 and ended.judged:
        meaning = NOT_ALL
    return f"{meaning} (exit code {ended.exit_code})"


def _step_counts(record: Record) -> str:
    counts = Counter(state(step) for step in record.steps)
    words: dict[State, str] = {
        "fail": "failed", "error": "in error", "skip": "skipped", "cut off": "cut off", "not run": "not run",
    }  # fmt: skip
    rest = "".join(f", {counts[key]} {word}" for key, word in words.items() if counts[key])
    return f"{counts['pass']} of {len(record.steps)} steps passed{rest}"


def _limit_counts(record: Record) -> str:
    passed = [r.judgement.passed for step in record.steps for r in step.readings if r.judgement is not None]
    limits = "limit" if len(passed) == 1 else "limits"
    left = sum(len(step.not_judged) for step in record.steps)
    rest = f", {left} not judged" if left else ""
    return f"{len(passed)} {limits} judged, {passed.count(False)} broken{rest}"


def duration(record: Record) -> float:
    """Seconds from the start to the verdict, or to the last thing that is known."""
    if record.ended is not None:
        return record.ended.at
    known = [event.at for step in record.steps for event in (step.opened, step.ended) if event]
    return max(known, default=0.0)
