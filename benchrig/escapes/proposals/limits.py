"""Limits on what the steps of the plan measure already: they cost no time."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from benchrig.escapes.proposals.candidate import Candidate, Limits
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.narrowing import narrow, tighter, wide
from benchrig.plan.inner import readings_of
from benchrig.plan.tree import StepPlan
from benchrig.record.model import Record
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit, octets
from benchrig.source.writing import Bare
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.base import LOST, ReadingType

# A limit on one of these changes what the step is for; the others say what the air and the bench did, or who the unit is.
_NEVER = LOST | {
    "att_error", "table", "directed", "address", "heard", "connected", "failure", "failed_by", "old_key", "throughput",
    "identity_address", "services", "raw",
}  # fmt: skip

# What readings were, by the id of the step and their names.
Seen: TypeAlias = Mapping[tuple[str, str], Sequence[Any]]


def probes(ground: Ground) -> list[Limits]:
    """A wide limit on each reading that the steps could tell and do not."""
    return [
        Limits(step.id, at, {name: wide(kind)})
        for step, at, types in _steps(ground)
        for name, kind in types.items()
        if name not in step.limit_names and not (name == "advertises_after" and step.kind.verb in ("scan", "connect"))
    ]


def candidates(ground: Ground, seen: Seen) -> Iterator[Candidate]:
    for step, at, types in _steps(ground):
        for name, kind in types.items():
            found = narrow(name, kind, seen.get((step.id, name), ()))
            if found is None:
                continue
            limit, reason = _of_any_unit(name, *found)
            if name in step.limit_names:
                old = _bound(step, name, kind)
                may = old is not None and not old.guard and (kind.form is None or None in (old.low, old.high))
                stricter = tighter(old, limit, kind) if may else None
                if stricter is not None:
                    title = f"a stricter limit on {name} of '{step.name}'"
                    yield Candidate("limit", title, reason, limits=[Limits(step.id, at, {name: stricter})])
            else:
                title = f"a limit on {name} of '{step.name}'"
                yield Candidate("limit", title, reason, limits=[Limits(step.id, at, {name: limit})])


def _of_any_unit(name: str, limit: dict[str, Any], reason: str) -> tuple[dict[str, Any], str]:
    """Advertising data with a number of the unit in them are judged by their length."""
    data = octets(str(limit["equals"])) if name in ("data", "scan_response") and "equals" in limit else b""
    return ({"length": Bare(str(len(data)))}, reason) if re.search(rb"\d\d", data) else (limit, reason)


def seen_in(records: Sequence[Record]) -> Seen:
    """The values of all rounds of all runs; of a stream the least and the greatest."""
    found: dict[tuple[str, str], list[Any]] = {}
    for record in records:
        for execution in record.executions:
            for reading in execution.readings:
                values = found.setdefault((execution.where.node, reading.name), [])
                samples = reading.samples
                values += [reading.value] if samples is None else [samples.minimum, samples.maximum]
    return found


def _steps(ground: Ground) -> Iterator[tuple[StepPlan, Any, dict[str, ReadingType]]]:
    """The steps of the plan's own file that have a model, with the readings that may be limited."""
    for step in ground.plan.steps:
        at, model = ground.written.get(step.id), step.step or step.outline
        if at is None or model is None or step.section == "finally" or "att_error" in step.limit_names or step.loses:
            continue
        try:
            types = readings_of(step, model) or {}
        except Misfit:
            continue
        yield step, at, {name: kind for name, kind in types.items() if _may(step, name, kind)}


def _may(step: StepPlan, name: str, kind: ReadingType) -> bool:
    """The values of a stream are judged by a step of a draft."""
    if kind.many and kind.form is not None:
        return False
    foreign = step.kind.readings_are_foreign or step.kind.works_out
    is_inner = bool(step.parts) and "." in name
    return not foreign and not is_inner and name not in _NEVER


def _bound(step: StepPlan, name: str, kind: ReadingType) -> Any:
    """The limit that the plan has, tied to its reading; None where it waits for the run, or is none with ends."""
    expected = step.node.get("expect")
    written = expected.get(name) if isinstance(expected, MappingNode) else None
    if step.step is None or written is None or has_reference(written):
        return None
    try:
        return step.step.limits[name].bind(kind.kind, kind.unit)
    except (Misfit, KeyError):
        return None
