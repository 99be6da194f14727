"""`benchrig twin --of RUN`: the unit of a run that is over, as a device file; and whether the plan fails on it alike."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.cli.programs import check_programs
from benchrig.errors import OF_THE_UNIT, BenchrigError, UsageError
from benchrig.plan.given_words import parse_given

if TYPE_CHECKING:
    from benchrig.plan.model import Plan
    from benchrig.record.model import Record
    from benchrig.replay.checking import Compared
    from benchrig.replay.making import Twin

NAME = "twin.yaml"  # in the folder of the run


@dataclass(frozen=True)
class Replayed:
    """What is known of the run, and what goes into its twin. `notes` are what a reader has to know of them."""

    folder: Path
    record: Record
    plan: Plan | None
    capture: Path | None
    notes: tuple[str, ...]


def replay(
    run: Path, target: Path | None, beside: Sequence[Path], plan: Path | None, given: Sequence[str], *,
    check: bool, acknowledge: bool, force: bool, as_json: bool,
) -> None:  # fmt: skip
    """Write the twin, and run the plan on it where that is asked for; exit code 1 where it fails otherwise."""
    from benchrig.files import writable, write_whole
    from benchrig.replay.checking import check as checked
    from benchrig.replay.making import twin_of

    read = _read(run, beside, plan, parse_given(given), needs_plan=check)
    if check and read.plan:
        check_programs(read.plan, "on the twin", acknowledge=acknowledge)
    made = twin_of(read.record, folder=read.folder, capture=read.capture, plan=read.plan)
    target = target or read.folder / NAME
    to_output = str(target) == "-"
    if not to_output:
        writable(target, force=force)
        write_whole(target, made.text.encode(), advice="write it elsewhere")
    compared = checked(read.record, read.plan, made.devices()) if check and read.plan else None
    with whatever_the_output_does(verdict=check):
        if as_json:
            print_json(_data(read, made, target, compared))
        else:
            _say(read, made, target, compared, to_output=to_output)
    if compared is not None and not compared.alike:
        sys.exit(1)


def _read(
    run: Path, beside: Sequence[Path], plan: Path | None, given: Mapping[str, str], *, needs_plan: bool
) -> Replayed:
    from benchrig.record.journal import read_record

    path = run / "record.jsonl" if run.is_dir() else run
    record = read_record(path)
    capture = _capture(path.parent, beside)
    loaded, notes = _plan(record, plan, given, needed=needs_plan)
    return Replayed(path.parent, record, loaded, capture, (*notes, *_notes(record)))


def _capture(folder: Path, beside: Sequence[Path]) -> Path | None:
    """That of --with, else the only one in the folder."""
    if len(beside) > 1:
        raise UsageError("--of takes one capture", advice="give --with once")
    found = [*beside] or sorted(folder.glob("*.btsnoop"))
    if len(found) > 1:
        listed = ", ".join(path.name for path in found)
        raise UsageError(f"{folder} has several captures: {listed}", advice="name that of the run with --with")
    return found[0] if found else None


def _plan(
    record: Record, path: Path | None, given: Mapping[str, str], *, needed: bool
) -> tuple[Plan | None, list[str]]:
    """The plan of the run, with the values of the run; without one a twin says less."""
    from benchrig.plan.given_words import with_secrets
    from benchrig.plan.loader import load_plan
    from benchrig.record.secrets import MASK

    found = path or Path(record.run.plan_file)
    values = {name: text for name, text in (record.run.given | record.run.scanned).items() if MASK not in text}
    limits = record.run.limit_set
    try:
        plan = load_plan(found, values | with_secrets(found, given), limits=Path(limits.file) if limits else None)
    except BenchrigError as error:
        if needed or path is not None:
            raise
        return None, [f"the plan {found} cannot be used, so the twin says less: {error.message.splitlines()[0]}"]
    notes = [f"the plan {found} has changed since the run"] if plan.hash != record.run.plan_hash else []
    if limits is not None and plan.limit_set != limits:
        notes.append(f"the limit set {limits.file} has changed since the run")
    return plan, notes


def _notes(record: Record) -> Iterator[str]:
    if record.ended is None:
        yield "the run was cut off: the twin knows nothing of what would have followed"
    elif record.ended.verdict == "pass":
        yield "the run passed: so does the twin"
    elif record.ended.cause not in OF_THE_UNIT:
        yield f"the cause of the run is {record.ended.cause}: it is not in the unit, so the twin need not fail"


def _say(read: Replayed, made: Twin, target: Path, compared: Compared | None, *, to_output: bool) -> None:
    from benchrig.replay.checking import failure_of
    from benchrig.source.problem import counted

    source = f"record and {read.capture.name}" if read.capture else "record alone"
    unsure = counted(len(made.guesses) + len(made.lacks), "line")
    sentence = f"from the {source}; {unsure} at its head on what is a guess or not known"
    for note in read.notes:
        tell(f"note: {note}")
    if to_output:
        echo(made.text, nl=False)
        tell(sentence)
    else:
        echo(f"{target}: {sentence}")
    for line in [f"the run:  {failure_of(read.record).text}"] if compared is None else _compared(compared):
        (tell if to_output else echo)(line)


def _compared(compared: Compared) -> Iterator[str]:
    yield f"the run:  {compared.unit.text}"
    yield f"the twin: {compared.twin.text}"
    yield from (f"  {difference}" for difference in (*compared.differences, *compared.values))
    yield "the plan ends alike on the twin" if compared.alike else "the plan does NOT end alike on the twin"


def _data(read: Replayed, made: Twin, target: Path, compared: Compared | None) -> dict[str, Any]:
    from benchrig.replay.checking import failure_of

    return {
        "file": str(target),
        "run": read.record.run.run_id,
        "failed": failure_of(read.record),
        "capture": str(read.capture) if read.capture else None,
        "notes": read.notes,
        "guesses": made.guesses,
        "not_known": made.lacks,
        "check": None if compared is None else {"alike": compared.alike, "twin": compared.twin, "differences": compared.differences, "values": compared.values},
    }  # fmt: skip
