"""What was seen, from files: inspections that were saved, records of runs, values that were watched."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from benchrig.captures.btsnoop import MAGIC, read_capture
from benchrig.captures.hci import Traffic, traffic_of
from benchrig.draft.evidence import Evidence, StreamSeen
from benchrig.draft.from_files import add_inspection, add_record, sound_inspection
from benchrig.errors import BenchrigError, UsageError
from benchrig.files import read_bounded
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.record.secrets import without_hidden
from benchrig.source.problem import counted
from benchrig.steps.attribute import Names
from benchrig.study.tolerance import Group
from benchrig.twin.seen import Seen
from benchrig.values.statistics import Moments

_MOST_BYTES = 256 * 1024 * 1024


def seen_in(paths: Iterable[Path], names: Names, plan: Plan | None, evidence: Evidence | None = None) -> Seen:
    """Beside the evidence of a device that was met. UsageError for a file that is none of these, or where none has a table."""
    evidence = evidence if evidence is not None else Evidence()
    records, security, captures = [], [], []
    paths = sorted(paths, key=lambda path: path.suffix.lower() == ".jsonl")  # who the unit is comes first
    folders = {path.parent for path in paths if path.name == "record.jsonl"}
    for path in paths:
        if _is_capture(path):
            captures.append((path.name, _traffic(path, evidence), path.parent in folders))
        elif path.suffix.lower() != ".jsonl":
            seen = sound_inspection(path)
            add_inspection(evidence, seen, path.name)
            if seen.security is not None:
                security.append((f"inspection {path.name}", seen.security))
        elif _is_watch(path):
            _add_watch(evidence, path)
        else:
            whole, name = read_record(path), path.parent.name or path.name
            record = without_hidden(whole)
            if record is not whole:
                evidence.doubts.append(f"record {name}: values that are secret, and what writing them does")
            add_record(evidence, record, name, _key_of(record, evidence))
            ended = "cut off" if record.ended is None else record.ended.verdict
            if ended != "pass":
                evidence.doubts.append(f"record {name}: whether the unit was a good one (the run: {ended})")
            records.append((name, record, _plan_of(record, plan, evidence, name)))
    if not any(look.services for look in evidence.looks):
        raise UsageError(
            "no attribute table was seen: records and watched values have none",
            advice="add --from with a file of 'benchrig inspect --save', or take the device itself",
        )
    return Seen(evidence, names, records, security, [*levels_of(evidence)], captures)


def _key_of(record: Record, evidence: Evidence) -> str | None:
    """What the plan of a record calls the unit; None for a plan with one device."""
    known = (key for key, seen in record.devices.items() if seen.address in evidence.units)
    return next(known, "") if len(record.devices) > 1 else None


def _plan_of(record: Record, plan: Plan | None, evidence: Evidence, name: str) -> Plan | None:
    """The plan that was run: the one at hand, else the file of the run, if it is still the same."""
    if plan is not None and plan.name == record.run.plan:
        if plan.hash != record.run.plan_hash:
            evidence.doubts.append(
                f"record {name}: the plan is not the one that was run; steps are taken by their numbers"
            )
        return plan
    path = Path(record.run.plan_file)
    try:
        found = load_plan(path) if path.is_file() else None
    except BenchrigError:
        found = None
    if found is not None and found.hash == record.run.plan_hash:
        return found
    evidence.doubts.append(f"record {name}: which characteristic answers an exchange (the plan was not found: --plan)")
    return None


def levels_of(evidence: Evidence) -> list[float]:
    """Of the units that were met: all that was heard of them, else what inspections kept."""
    heard = [level for one in evidence.air.heard.values() if one.address in evidence.units for level in one.rssi]
    return heard or [each.rssi for each in evidence.advertised if each.rssi is not None]


def _is_capture(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(MAGIC)) == MAGIC
    except OSError:
        return False


def _traffic(path: Path, evidence: Evidence) -> Traffic:
    """What a capture holds; what of it is not whole is told."""
    capture = read_capture(path)
    traffic = traffic_of(capture.packets)
    evidence.sources.append(f"capture {path.name}")
    if capture.cut_off is not None:
        evidence.doubts.append(f"capture {path.name}: all after offset {capture.cut_off}, where it is cut off")
    if damaged := capture.shortened + traffic.malformed:
        evidence.doubts.append(f"capture {path.name}: {counted(damaged, 'packet')} that are shortened or malformed")
    return traffic


def _is_watch(path: Path) -> bool:
    try:
        first = read_bounded(path, _MOST_BYTES).split(b"\n", 1)[0]
        data = json.loads(first)
    except (ValueError, RecursionError):
        return False
    return isinstance(data, dict) and data.get("event") == "watch"


def _add_watch(evidence: Evidence, path: Path) -> None:
    """Each attribute is a stream; a gap that a lost link made is none of its own."""
    values: dict[str, list[bytes]] = {}
    times: dict[str, list[float]] = {}
    gaps: dict[str, Moments] = {}
    unit = ""
    for line in read_bounded(path, _MOST_BYTES).decode("utf-8", "replace").splitlines():
        try:
            data: Any = json.loads(line)
            unit = unit or str(data.get("device", ""))
            if data.get("event") != "value":
                continue
            name = data["attribute"]
            values.setdefault(name, []).append(bytes.fromhex(data["content"]["raw"]))
            times.setdefault(name, []).append(float(data["seconds"]))
            if data.get("gap") is not None:
                gaps.setdefault(name, Moments()).add(float(data["gap"]))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise UsageError(f"'{path}' is not a file of watched values: {error}") from error
    for name, came in values.items():
        at, group = times[name], Group.summed(gaps[name]) if name in gaps else None
        whole = group is not None and group.count == len(came) - 1
        evidence.heard.append(
            StreamSeen(name, unit, at[-1] - at[0], len(came), None, group, came, times=at if whole else [], source=f"watch {path.name}")
        )  # fmt: skip
    evidence.sources.append(f"watch {path.name}")
