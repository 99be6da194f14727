"""Each limit of a plan: how far good units are from it, which faults it catches and which ones it alone, what its step
costs. The faults are those of `benchrig escapes --whole`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from statistics import fmean, stdev

from benchrig.errors import UsageError
from benchrig.escapes.results import Hunted, Result
from benchrig.record.events import PlannedLimits, PlannedNode
from benchrig.rejects.results import Idle, LimitSeen, Rejects, UnitRun
from benchrig.rejects.seen import Seen

_Key = tuple[str, str]


def limits_of(
    nodes: Iterable[PlannedNode], seen: Mapping[_Key, Sequence[tuple[int, Seen]]], times: Mapping[str, float],
    hunted: Hunted | None,
) -> list[LimitSeen]:  # fmt: skip
    """All limits of the plan, in its order, also those that nothing was held against."""
    caught, alone = _catching(hunted) if hunted else (Counter[_Key](), Counter[_Key]())
    found = []
    for node in every_node(nodes):
        for reading in node.limits:
            key = node.id, reading
            made = _limit(node, reading, seen.get(key, ()), times.get(node.id))
            found.append(made if hunted is None else _with_faults(made, caught[key], alone[key]))
    return found


def every_node(nodes: Iterable[PlannedNode]) -> Iterator[PlannedNode]:
    for node in nodes:
        yield node
        yield from every_node(node.children)


def mean_times(runs: Sequence[UnitRun]) -> dict[str, float]:
    """What each step takes on the mean of the units that got to it."""
    found: dict[str, list[float]] = {}
    for run in runs:
        for node, seconds in run.times.items():
            found.setdefault(node, []).append(seconds)
    return {node: fmean(seconds) for node, seconds in found.items()}


def idle(nodes: Iterable[PlannedNode], times: Mapping[str, float], hunted: Hunted) -> list[Idle]:
    """Steps that catch no fault at all, neither by a limit nor by ending, what takes longest first. Clean-up is not there
    to catch anything."""
    busy = {each.node for result in hunted.results for trial in result.trials if trial.by
            for each in (trial.by, *trial.also)}  # fmt: skip
    found = [Idle(node.id, node.name, times[node.id]) for node in every_node(nodes)
             if node.id not in busy and not node.children and node.id in times and node.section == "steps"]  # fmt: skip
    return sorted(found, key=lambda each: -each.seconds)


def check_fits(hunted: Hunted, rejects: Rejects) -> None:
    """UsageError for the faults of another plan or device, and for what says nothing of a limit beside the first."""
    advice = "write it anew: benchrig escapes … --whole --json"
    if not hunted.whole:
        raise UsageError("the results of escapes end at the first catch", advice=advice)
    for what, theirs, ours in (
        ("plan", hunted.plan_hash, rejects.plan_hash),
        ("limit set", _hash(hunted.limit_set), _hash(rejects.limit_set)),
        ("device", hunted.device_hash, rejects.device_hash),
    ):
        if theirs != ours:
            raise UsageError(f"the results of escapes are of another {what}, or of an earlier one", advice=advice)
    if hunted.interrupted:
        raise UsageError("the results of escapes are those of a hunt that was interrupted", advice=advice)


def _hash(limits: PlannedLimits | None) -> str:
    return "" if limits is None else limits.sha256


def _with_faults(limit: LimitSeen, caught: int, alone: int) -> LimitSeen:
    from msgspec.structs import replace

    return replace(limit, caught=caught, alone=alone)


def _catching(hunted: Hunted) -> tuple[Counter[_Key], Counter[_Key]]:
    """By limit: the faults that break it, and those that nothing else notices."""
    caught, alone = Counter[_Key](), Counter[_Key]()
    for result in hunted.of("caught"):
        keys = _keys(result)
        caught.update(keys)
        alone.update(keys if len(keys) == 1 else ())
    return caught, alone


def _keys(result: Result) -> set[_Key]:
    """All that noticed it, with any seed; the end of a step without a limit has no reading."""
    return {(each.node, each.reading) for trial in result.trials if trial.by for each in (trial.by, *trial.also)}


def _limit(node: PlannedNode, reading: str, of: Sequence[tuple[int, Seen]], seconds: float | None) -> LimitSeen:
    rejected = sum(not seen.passed for _, seen in of)
    made = LimitSeen(node.id, node.name, reading, len(of), rejected, seconds=seconds)
    distances = [(distance, number) for number, seen in of if (distance := _nearer(seen)) is not None]
    if not distances:
        return made
    from msgspec.structs import replace

    numbers = [distance for distance, _ in distances]
    mean, spread = fmean(numbers), stdev(numbers) if len(numbers) > 1 else 0.0
    nearest, unit = min(distances)
    deviations = mean / spread if spread else None
    return replace(made, unit=of[0][1].unit, distance=mean, deviations=deviations, nearest=nearest, nearest_unit=unit)


def _nearer(seen: Seen) -> float | None:
    return min((each for each in (seen.below, seen.above) if each is not None), default=None)
