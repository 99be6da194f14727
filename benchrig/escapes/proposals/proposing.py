"""From escapes to proposals: candidates that the sound device passes, what each of them catches, the fewest that catch the most.

All candidates are put into the plan at once, so that one run a fault tells which of them notice it; those that are chosen are
run again, alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from benchrig.errors import BenchrigError
from benchrig.escapes.cache import gone_through
from benchrig.escapes.hunting import Hunt, Hunting, Known
from benchrig.escapes.outcome import came_to
from benchrig.escapes.proposals import drafted, exchanges, identity, limits, links, looking, staying, writes
from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import Candidate, Choice, Cost, Seen
from benchrig.escapes.proposals.choosing import chosen
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.narrowing import narrow
from benchrig.escapes.proposals.taking import Taken, filled, ordered, taken, without_what_is_wrong
from benchrig.escapes.results import PASSED, Catch, Result, is_wrong
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Fault
from benchrig.plan.inner import readings_of
from benchrig.plan.model import Plan
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.record.model import Record
from benchrig.source.writing import Bare

# How often the sound device is run on each air: to see what it gives, and to see that it passes.
LOOKS, PROOFS = 2, 3
# How many other good units have to pass, where the device file says how they differ.
UNITS = 5
# So often what is left is looked at again.
_ROUNDS = 4


# In this order they are in a plan.
_KINDS = (
    looking.all_sent, staying.candidates, drafted.candidates, identity.candidates, links.lasting, staying.beside_writes,
    writes.candidates, exchanges.candidates, looking.candidates, links.candidates,
)  # fmt: skip


@dataclass(frozen=True)
class Proposals:
    """What was chosen, in the order in which it counts, the plan with all of it, and the names of the faults that none
    of it catches. `wrongly` are those that the plan with all of it puts on whom they are not."""

    choices: list[Choice]
    text: str
    left: list[str]
    wrongly: list[str] = field(default_factory=list)


def propose(ground: Ground, escaped: Sequence[Fault], tell: Callable[[str], None] = lambda sentence: None) -> Proposals:
    """For the faults that the plan passes."""
    if not escaped:
        return Proposals([], ground.text, [])
    candidates = good(ground, made(ground), tell)
    tell(f"{len(candidates)} changes of the plan pass the sound device")
    everything = taken(ground, candidates)
    costs = _costs(everything, ground, len(candidates))
    matrix = _matrix(ground, everything, escaped)
    choices = chosen(candidates, costs, matrix, {fault.name: fault for fault in escaped})
    return _verified(ground, candidates, costs, matrix, choices, escaped, tell)


def made(ground: Ground) -> list[Candidate]:
    """All candidates, each once; some have limits that runs of the sound device are still to tell."""
    seen = limits.seen_in(_records(ground, _probed(ground), LOOKS))
    found = [*limits.candidates(ground, seen)]
    try:
        attributes = Attributes(ground)
    except BenchrigError:  # a unit that a plan can reach and a desk cannot
        return _once(found)
    for kind in _KINDS:
        found += kind(ground, attributes)
    _hold_unasked(ground, found)
    return _once(found)


def _hold_unasked(ground: Ground, candidates: Sequence[Candidate]) -> None:
    """What the plan holds of the end of its link holds for each link that proposals make of that one."""
    ends = (step for step in ground.plan.steps if step.kind.verb == "disconnect")
    if any("unasked" in step.limit_names for step in ends):
        for step in (step for each in candidates for step in each.all_steps if step.verb == "disconnect"):
            step.expect.setdefault("unasked", {"equals": Bare("0")})


def good(ground: Ground, candidates: Sequence[Candidate], tell: Callable[[str], None]) -> list[Candidate]:
    """Those that the sound device passes, with the limits that its runs tell."""
    asked = without_what_is_wrong(ground, [_asking(each) for each in candidates])
    by_title = {each.title: each for each in candidates}
    asked = _passing(ground, asked, LOOKS)
    everything = taken(ground, asked)
    records = _records(ground, everything.plan, LOOKS)
    told = [
        filled(by_title[each.title], _told(everything, number, by_title[each.title], records))
        for number, each in enumerate(asked)
    ]
    told = [each for each in told if _judges(each)]
    return _passing(ground, without_what_is_wrong(ground, told), PROOFS, UNITS)


def _once(candidates: Iterable[Candidate]) -> list[Candidate]:
    return [*{each.title: each for each in reversed([*candidates])}.values()][::-1]


def _judges(candidate: Candidate) -> bool:
    return bool(
        candidate.limits
        or candidate.keys
        or any(step.expect or "read_back" in step.keys for step in candidate.all_steps)
    )


def _probed(ground: Ground) -> Plan:
    """The plan with a wide limit on all that its steps can tell."""
    probes = [Candidate("limit", f"probe {each.step}", "", limits=[each]) for each in limits.probes(ground)]
    return taken(ground, without_what_is_wrong(ground, probes)).plan


def _records(ground: Ground, plan: Plan, count: int) -> list[Record]:
    plan = replace(plan, deadline=None)
    return [trial(plan, scene, ground.operator, seed=seed) for scene in ground.scenes() for seed in range(1, count + 1)]


def _of_units(ground: Ground, text: str, candidates: Sequence[Candidate], count: int) -> list[Record]:
    """Runs of good units that differ as the device file says, on rough air where the scene names none."""
    scene = ground.scenes()[-1]
    return [
        trial(
            replace(ground.loaded(text, unit.labels, _told_of(unit.device, candidates)), deadline=None),
            scene.with_unit(unit.device),
            ground.operator,
            seed=unit.number,
        )
        for unit in ground.units(count)
    ]


def _told_of(unit: DeviceSpec, candidates: Sequence[Candidate]) -> dict[str, str]:
    return {name: value_of(unit) for each in candidates for name, value_of in each.given.items()}


def _asking(candidate: Candidate) -> Candidate:
    """With limits that any value satisfies in place of those that are to be told."""
    numbers = {
        (number, name): limit.wide
        for number, step in enumerate(candidate.all_steps)
        for name, limit in step.expect.items()
        if isinstance(limit, Seen)
    }
    return filled(candidate, numbers)


def _passing(ground: Ground, candidates: Sequence[Candidate], count: int, units: int = 0) -> list[Candidate]:
    """Without those with which the sound device, or another good unit, does not pass. Of each run only what failed first is taken out: the rest
    may have failed for that."""
    left = [*candidates]
    while True:
        everything = taken(ground, left)
        records = [*_records(ground, everything.plan, count), *_of_units(ground, everything.text, left, units)]
        bad = {_first(everything, record) for record in records} - {None}
        if not bad:
            return left
        left = [each for number, each in enumerate(left) if number not in bad]


def _first(everything: Taken, record: Record) -> int | None:
    """The candidate that failed first; None for none of them."""
    owners = (everything.owner(catch.node, catch.reading) for catch in _catches(record))
    return next((owner for owner in owners if owner is not None), None)


def _catches(record: Record) -> list[Catch]:
    came = came_to(record, 0)
    return [*([came.by] if came.by else []), *came.also]


def _told(
    everything: Taken, number: int, candidate: Candidate, records: Sequence[Record]
) -> dict[tuple[int, str], Any]:
    """The limits that the runs tell for what a candidate has left open."""
    seen, told = limits.seen_in(records), dict[tuple[int, str], Any]()
    for at, (text, step) in enumerate(zip(candidate.all_steps, ordered(everything, number), strict=True)):
        types = readings_of(step, step.step) if step.step is not None else None
        for name, limit in text.expect.items():
            kind = (types or {}).get(name)
            if not isinstance(limit, Seen) or kind is None:
                continue
            if (found := narrow(name, kind, seen.get((step.id, name), ()), limit.room)) is not None:
                told[at, name] = found[0]
    return told


def _costs(everything: Taken, ground: Ground, count: int) -> list[Cost]:
    """What each takes on the sound device."""
    record = trial(replace(everything.plan, deadline=None), ground.sound, ground.operator, seed=1)
    took = {each.planned.id: each.ended.elapsed for each in record.nodes if each.ended}
    steps = [everything.steps_of(number) for number in range(count)]
    return [
        Cost(round(sum(took[step.id] for step in each), 3), len(each), sum(len(step.limit_names) for step in each))
        for each in steps
    ]


# By fault the candidates that notice it and blame whom they should.
Matrix = Mapping[str, frozenset[int]]


def _hunted(
    ground: Ground, plan: Plan, faults: Sequence[Fault], *, whole: bool, known: Known = MappingProxyType({})
) -> list[Result]:
    hunt = Hunt(replace(plan, deadline=None), ground.sound, ground.operator, whole=whole, jobs=ground.jobs)
    return Hunting(hunt, faults, known).run()


def _still_known(results: Sequence[Result], before: Plan, now: Plan) -> Known:
    """What holds of the plan as it is now: those that were caught in steps before all that has changed."""
    trials = ((each.fault.name, came) for each in results for came in each.trials)
    return {(name, came.seed): came for name, came in trials if gone_through(before, came) == gone_through(now, came)}


def _matrix(ground: Ground, everything: Taken, faults: Sequence[Fault]) -> Matrix:
    return {
        result.fault.name: frozenset(
            owner
            for came in result.trials
            for catch in ([came.by] if came.by else []) + came.also
            if not is_wrong(result.fault, catch) and (owner := everything.owner(catch.node, catch.reading)) is not None
        )
        for result in _hunted(ground, everything.plan, faults, whole=True)
    }


def _verified(
    ground: Ground,
    candidates: Sequence[Candidate],
    costs: Sequence[Cost],
    matrix: Matrix,
    choices: list[int],
    escaped: Sequence[Fault],
    tell: Callable[[str], None],
) -> Proposals:
    """The choice run by itself; what it lets through after all is looked for among the rest."""
    weights, dropped = {fault.name: fault for fault in escaped}, set[int]()
    results, before = list[Result](), ground.plan
    for _ in range(_ROUNDS):
        # what passes beside all others need not do so beside a few of them
        fit = {each.title for each in _passing(ground, [candidates[number] for number in choices], PROOFS, UNITS)}
        dropped |= {number for number in choices if candidates[number].title not in fit}
        choices = [number for number in choices if number not in dropped]
        result = taken(ground, [candidates[number] for number in choices])
        known = _still_known(results, before, result.plan)
        results, before = _hunted(ground, result.plan, escaped, whole=False, known=known), result.plan
        open_ = [each.fault.name for each in results if each.outcome in PASSED]
        tried = {*choices, *dropped}
        rest = {name: matrix[name] - tried for name in open_ if matrix[name] - tried}
        more = chosen(candidates, costs, rest, {name: weights[name] for name in rest})
        told = _credited(candidates, costs, choices, results, result)
        idle = {number for number, choice in zip(choices, told, strict=True) if not choice.catches}
        if not more and not idle:
            break
        dropped |= idle
        choices = sorted({*choices, *more} - dropped)
    wrongly = [each.fault.name for each in results if each.outcome == "blamed wrongly"]
    return Proposals(told, result.text, open_, wrongly)


def _credited(
    candidates: Sequence[Candidate],
    costs: Sequence[Cost],
    choices: Sequence[int],
    results: Sequence[Result],
    result: Taken,
) -> list[Choice]:
    """Each choice with the faults that it decides."""
    made = [Choice(candidates[number], costs[number]) for number in choices]
    for each in results:
        owner = result.owner(each.by.node, each.by.reading) if each.outcome == "caught" and each.by else None
        if owner is not None:
            made[owner].catches.append(each.fault.name)
    return made
