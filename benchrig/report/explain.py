"""What a record means, in words: the state of each step, why it failed, what it all comes to.

The sentences are the same in every report. They are plain text (see text/escape.py), ready for any output. Loading
this loads nothing heavy, nor does text/escape.py: `benchrig run --help` loads every report for its options.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from benchrig.text.escape import hex_text, plain, plain_lines, value_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchrig.record.events import DeviceSeen, NotJudged, Reading, Samples, Verdict
    from benchrig.record.model import Execution, Record
    from benchrig.values.judging import Judgement

State: TypeAlias = "Verdict | Literal['left out', 'cut off', 'not run']"
Outcome: TypeAlias = "Verdict | Literal['cut off', 'nothing judged', 'not all judged']"

NAME_LIMIT = 80
SENTENCE_LIMIT = 1000

_ATTEMPTS = 10
# Of the steps that a partial run left out, so many are named.
_LEFT = 5
_ENDED_ON: dict[State, str] = {
    "pass": "passed on", "fail": "failed on", "error": "ended in error on", "skip": "skipped on",
    "left out": "left out on", "cut off": "cut off in", "not run": "never came to",
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


def state(step: Execution) -> State:
    """The verdict of a step, or what stands in its place when it did not come so far."""
    if step.ended is not None:
        return "left out" if step.ended.came_to == "left out" else step.ended.verdict
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


def telling_title(step: Execution) -> str:
    """'7 position after opening (read valve position)': with what it does, where its name is another."""
    does = plain(step.planned.does, NAME_LIMIT)
    return f"{title(step)} ({does})" if does else title(step)


def plan_name(record: Record) -> str:
    return plain(record.run.plan, NAME_LIMIT).strip() or "plan without a name"


def guarded(judgement: Judgement | None) -> dict[str, Any]:
    """What is behind the acceptance limits of a judgement; {} without a guard band."""
    if judgement is None or not judgement.guard:
        return {}
    return {name: getattr(judgement, name) for name in ("stated_low", "stated_high", "guard")}


def limit_set(record: Record) -> str:
    """'Pharma logger, version 3, of A. Berg: why there is such a one (limits/pharma.yaml)'; '' without one."""
    limits = record.run.limit_set
    if limits is None:
        return ""
    named = f"{limit_set_name(record)}, of {plain(limits.owner, NAME_LIMIT)}"
    return f"{named}: {plain(limits.reason, SENTENCE_LIMIT)} ({plain(limits.file)})"


def limit_set_name(record: Record) -> str:
    """'Pharma logger, version 3'; '' for the limits of the plan."""
    limits = record.run.limit_set
    return "" if limits is None else f"{plain(limits.name, NAME_LIMIT)}, version {plain(limits.version, NAME_LIMIT)}"


def plan_title(record: Record) -> str:
    revision = plain(record.run.revision, NAME_LIMIT)
    return plan_name(record) + (f", revision {revision}" if revision else "")


def unit_names(record: Record) -> list[str]:
    """All that the unit is known by, the best name first: its serial number."""
    return _names(record.unit)


def _names(unit: DeviceSeen | None) -> list[str]:
    names = (unit.serial, unit.name, unit.address) if unit else ()
    return [plain(name, NAME_LIMIT).strip() for name in names if name.strip()] or ["not known"]


def given_serial(record: Record) -> str:
    """The serial number that the run was started with; '' without one. An absent unit is known by no other name."""
    return plain(record.given_serial, NAME_LIMIT).strip()


def several(record: Record) -> dict[str, DeviceSeen | None]:
    """The devices of a plan with several by name, None for one that was not heard; {} for a plan with one."""
    names = [name for name in record.run.devices if name]
    return {name: record.devices.get(name) for name in names}


def unit_title(record: Record) -> str:
    if devices := several(record):
        return "; ".join(f"{plain(key, NAME_LIMIT)}: {_title(unit)}" for key, unit in devices.items())
    unit = record.unit
    given = given_serial(record)
    expected = f", given serial number {given}" if given and not (unit and unit.serial == given) else ""
    return _title(unit) + expected


def _title(unit: DeviceSeen | None) -> str:
    kind = f" ({plain(unit.address_type, NAME_LIMIT)})" if unit and unit.address and unit.address_type else ""
    return ", ".join(_names(unit)) + kind


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
    if step.ended is not None and step.ended.verdict in ("fail", "error") and step.planned.left_before:
        yield f"partial run: {changes_left_out(step.planned.left_before)}"
    if step.ended is not None and step.ended.traceback:
        yield from plain_lines(step.ended.traceback)


def changes_left_out(steps: Sequence[str]) -> str:
    """What a partial run left out that may change the unit, and what to do where a step needs it."""
    told = [plain(each, NAME_LIMIT) for each in steps[:_LEFT]]
    told += [f"and {len(steps) - _LEFT} more"] if len(steps) > _LEFT else []
    which = "step that changes" if len(steps) == 1 else "steps that change"
    return f"without the {which} the unit before: {', '.join(told)}; only_after: makes a step need another"


def own_message(step: Execution) -> str:
    """The message of a step without the sentences that its readings say themselves."""
    return plain(step.ended.own_message, SENTENCE_LIMIT) if step.ended else ""


def _broken(reading: Reading) -> Iterator[str]:
    judgement = reading.judgement
    assert judgement is not None
    facts = [f"measured {_with_unit(reading)}", f"limit {plain(judgement.limit, SENTENCE_LIMIT)}"]
    if judgement.margin is not None:
        facts.append(f"margin {value_text(judgement.margin)}{_difference_unit(reading.unit)}")
    if reading.raw is not None and not _is_bytes(reading):
        facts.append(f"raw {hex_text(reading.raw)}")
    if judgement.place:
        facts.append(plain(judgement.place))
    yield f"{plain(reading.name, NAME_LIMIT)}: {plain(judgement.sentence, SENTENCE_LIMIT)}"
    yield "  " + "; ".join(facts)


def _with_unit(reading: Reading) -> str:
    if reading.value is None and reading.samples is None and not _is_bytes(reading):
        return "nothing"
    return f"{measured(reading)} {plain(reading.unit, NAME_LIMIT)}".rstrip()


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
    return from_to(samples, limit)


def from_to(samples: Samples, limit: int = NAME_LIMIT) -> str:
    """The least and the greatest of numbers."""
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


def numbered(labels: list[str]) -> str:
    """'step 3', 'steps 3, 5-9'."""
    return f"{'step' if len(labels) == 1 else 'steps'} {_ranges(labels)}"


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


def said(step: Execution) -> str:
    """What a step and its readings say, with the names of the readings where they say more than 'value'."""
    judged = [(reading.name, reading.judgement.sentence) for reading in failed_readings(step) if reading.judgement]
    named = (sentence if name == "value" else f"{name}: {sentence}" for name, sentence in judged)
    return "; ".join(filter(None, (own_message(step), *named)))
