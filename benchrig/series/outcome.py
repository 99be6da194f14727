"""What a run of several came to, in short: its record may be large, and the next run needs the room."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchrig.errors import StationError
from benchrig.record.model import Execution, Record
from benchrig.report import explain, whole
from benchrig.series.units import SeenUnit, seen_unit
from benchrig.text.escape import plain

# The characteristics that say what a unit runs: its firmware, else its software.
_REVISIONS = ("2A26", "2A28")


@dataclass(frozen=True)
class Failure:
    """A step that did not pass, or the run where no step says why."""

    step: str
    cause: str
    sentence: str


@dataclass(frozen=True)
class Ran:
    """One run; `folder` is None for one that did not begin."""

    path: Path
    plan: str
    repetition: int
    seed: int | None
    code: int
    verdict: str
    cause: str
    reason: str
    failures: tuple[Failure, ...]
    seconds: float
    folder: Path | None
    station: str
    radio: str
    simulated: bool
    marks: tuple[str, ...]
    unit: str
    seen: SeenUnit | None
    firmware: str

    @property
    def is_run(self) -> bool:
        return self.folder is not None


def came_to(
    record: Record, path: Path, repetition: int, folder: Path | None, troubles: Sequence[StationError] = ()
) -> Ran:
    """`troubles` kept the record or its reports from being written: such a pass is none."""
    run, ended = record.run, record.ended
    assert ended is not None
    trouble = next((each.message for each in troubles), "") if ended.exit_code == 0 else ""
    return Ran(
        path=path,
        plan=explain.plan_name(record),
        repetition=repetition,
        seed=run.seed,
        code=7 if trouble else ended.exit_code,
        verdict="error" if trouble else explain.outcome(record) if folder else "not run",
        cause="station" if trouble else ended.cause or "",
        reason=plain(trouble, explain.SENTENCE_LIMIT) or whole.reason(record),
        failures=(Failure("the run", "station", plain(trouble)),) if trouble else tuple(failures(record)),
        seconds=whole.duration(record),
        folder=folder,
        station=plain(run.station),
        radio=plain(run.radio),
        simulated=run.simulated,
        marks=tuple(whole.marks(record)),
        unit=explain.unit_title(record) if record.devices else "",
        seen=seen_unit(record),
        firmware=firmware(record),
    )


def failures(record: Record) -> Iterator[Failure]:
    """Each step that did not pass, but what a limit allowed to fail."""
    if record.ended is None or record.ended.verdict == "pass":
        return
    if (trouble := whole.run_trouble(record)) is not None:
        yield Failure("the run", trouble.cause, trouble.message)
    for each in whole.failures(record):
        if not each.tolerated:
            step = each.step
            said = plain(explain.said(step), explain.SENTENCE_LIMIT) if step.ended else explain.CUT_OFF
            yield Failure(f"step {explain.telling_title(step)}", (step.ended and step.ended.cause) or "", said)


def firmware(record: Record) -> str:
    """What the unit says that it runs, where a step has read it."""
    for revision in _REVISIONS:
        for step in record.steps:
            if _subject(step).partition("[")[0].endswith(revision):
                for reading in step.readings:
                    if reading.name == "value" and isinstance(reading.value, str):
                        return plain(reading.value, explain.NAME_LIMIT)
    return ""


def _subject(step: Execution) -> str:
    return (step.opened and step.opened.subject) or step.planned.subject
