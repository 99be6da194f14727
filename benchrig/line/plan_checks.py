"""What is wrong, for a line, with a plan that is none of the plan's own mistakes."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from benchrig.errors import BenchrigError, Mistake, PlanError
from benchrig.line.approving import Approvals, Wanted, refused
from benchrig.line.golden_limits import TIGHTER, why_no_golden_limits
from benchrig.line.places import is_simulated
from benchrig.line.plans import HERE, IDENTITY, PlanFiles, files_for, load, values_for
from benchrig.line.proof import ProofKind
from benchrig.line.wired import ADVICE, on_wires
from benchrig.plan.model import Plan
from benchrig.plan.remarks import remarks
from benchrig.plan.tree import StepPlan, every_step, place_text
from benchrig.radio.offers import CANNOT
from benchrig.radio.proof import SERIAL_NUMBER
from benchrig.radio.specify import RadioChoice
from benchrig.run.station import forbidden, unwired
from benchrig.source.problem import NOWHERE, Problem, suggest
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Scalar
from benchrig.station.station import Station
from benchrig.steps.base import Cap
from benchrig.text.escape import plain
from benchrig.values.pattern import group_names


@dataclass(frozen=True)
class Asked:
    """A product, or a unit that checks the station with all that its label says."""

    product: str
    reference: str = ""
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Finding:
    severity: Literal["problem", "note"]
    message: str
    advice: str = ""


def problem(message: str, advice: str = "") -> Finding:
    return Finding("problem", message, advice)


def note(message: str, advice: str = "") -> Finding:
    return Finding("note", message, advice)


def of_plan(
    station: Station, path: Path, approvals: Approvals, asked: Asked, kinds: set[ProofKind]
) -> tuple[list[Finding], str]:
    """What is wrong with it at the station in the file `path`, whose slots are proven by these `kinds`; who has approved it, ''
    for nobody. PlanError and others where it does not load."""
    files = files_for(station, asked.product, asked.reference)
    groups = group_names(station.products[asked.product].barcode)
    plan = load(station, HERE, files, None)
    wanted = Wanted.of(plan, files)
    found = [*_approval(approvals, wanted, path)]
    if not asked.reference:
        found += [
            *_groups(groups, plan.given),
            *_devices(plan),
            *_steps(plan, station),
            *_identity(plan, groups, kinds),
            *_links_again(plan),
        ]
        found += [*(_shared(plan) if "scan" in kinds else ()), *_radios(plan, station)]
    found += _with_values(station, files, asked, () if asked.reference else groups, plan)
    approval = approvals.newest(files) if not refused(approvals, wanted) else None
    return found, f"approved by {approval.by} at {approval.at}" if approval else ""


def _with_values(
    station: Station, files: PlanFiles, asked: Asked, unknown: Collection[str], plan: Plan
) -> Iterator[Finding]:
    """What is wrong with the plan once it has its values, which a reference has all."""
    values = values_for(station, asked.product, asked.values, plan.given)
    try:
        plan = load(station, HERE, files, values, unknown=unknown)
        if why := why_no_golden_limits(station, asked.product, asked.reference, asked.values, plan):
            yield problem(why, TIGHTER)
    except BenchrigError as error:
        yield from mistakes(error)
    if asked.reference:
        yield from _fails(plan, station.references[asked.reference].fails)


def mistakes(error: BenchrigError) -> list[Finding]:
    """All that it says, with file and line where that is in a file."""
    if isinstance(error, PlanError):
        return [problem(_placed(each), each.advice) for each in error.problems]
    return [problem(error.message, error.advice)]


def _placed(mistake: Mistake) -> str:
    if isinstance(mistake, Problem) and mistake.place != NOWHERE:
        return f"{place_text(mistake.place)}: {mistake.message}"
    return mistake.message


def _groups(groups: list[str], asked: Mapping[str, object]) -> Iterator[Finding]:
    for name in groups:
        if name not in asked and name not in IDENTITY:
            advice = suggest(name, asked) or f"take ?P<{name}> out of the barcode"
            yield problem(f"the barcode gives '{name}', and the plan has no given value '{name}'", advice)


def _approval(approvals: Approvals, wanted: Wanted, path: Path) -> Iterator[Finding]:
    if why := refused(approvals, wanted):
        yield problem(why, f"read the plan, then run: benchrig line approve {path} --by NAME")


def _devices(plan: Plan) -> Iterator[Finding]:
    if len(plan.devices) != 1:
        named = ", ".join(plan.devices)
        yield problem(
            f"the plan has several devices ({plain(named)}), and a slot holds one unit", "write a plan for one"
        )


def _steps(plan: Plan, station: Station) -> Iterator[Finding]:
    """What cannot run here, and what an approval does not cover."""
    for step in forbidden(plan.steps, station):
        advice = "take it out of the plan, or out of forbid: of the station file"
        yield problem(f"{_at(step)}: the station forbids {step.kind.verb} steps: '{step.name}'", advice)
    for slot in () if is_simulated(station) else station.slot_names:
        for step, wire in unwired(plan.steps, station.at_slot(slot)):
            message = f"{_at(step)}: slot {slot} has no {wire}: '{step.name}' cannot run there"
            yield problem(message, f"add {wire}: to the slot")
    foreign = [step for step in plan.steps if step.kind.executes]
    if foreign:
        verbs = " and ".join(sorted({step.kind.verb for step in foreign}))
        message = f"the plan has {verbs} steps: an approval does not cover the programs and functions that they run"
        yield note(message, "keep who may change these files apart")


def _identity(plan: Plan, groups: list[str], kinds: set[ProofKind]) -> Iterator[Finding]:
    """Whether it can be known which unit is tested."""
    if not set(groups) & {*IDENTITY}:
        yield _nameless("scan" in kinds)
    if any(map(_reads_serial, plan.steps)):
        return
    what = "the plan never reads the serial number of the unit"
    advice = "add a step: read: serial number string"
    if "address" not in groups:
        yield problem(f"{what}, so nothing shows which unit was tested", advice)
    elif "serial" in groups:
        yield note(f"{what}: one that has a serial number is not judged", advice)


def _links_again(plan: Plan) -> Iterator[Finding]:
    """Links behind the first one over which something is judged, and nobody asks who answers. Keys tell that, too: who
    encrypts with those of a bond is the unit."""
    steps = [step for step in plan.steps if step.section == "steps"]
    at = [place for place, step in enumerate(steps) if Cap.LINK in step.kind.gives]
    for begin, end in zip(at[1:], [*at[2:], len(steps)], strict=False):
        link, over = steps[begin], steps[begin + 1 : end]
        is_asked = any(_reads_serial(step) or step.kind.verb in _WITH_KEYS for step in over)
        judged = next((step for step in over if step.kind.reads and step.limit_names), None)
        if judged is not None and not is_asked:
            message = f"{_at(link)}: '{link.name}' connects again, and no serial number is read over that link"
            yield note(
                f"{message}: '{judged.name}' may be that of a second unit with the same address",
                "read the serial number again behind it",
            )


_WITH_KEYS = ("encrypt", "pair")


def _nameless(shares_radio: bool) -> Finding:
    what = "the barcode has neither a serial number nor an address"
    advice = r"add a group to the barcode: (?P<serial>…) or (?P<address>…)"
    if shares_radio:
        return problem(f"{what}: in slots that share a radio no unit can be proven", advice)
    return note(f"{what}: a unit is known by its place alone", advice)


def _reads_serial(step: StepPlan) -> bool:
    about = step.node.get(step.kind.verb)
    if not step.kind.reads or not isinstance(about, Scalar) or not about.text:
        return False
    try:
        path = step.names.meaning(about.text).address.path
    except Misfit:
        return False
    return bool(path) and path[-1].uuid == SERIAL_NUMBER


def _shared(plan: Plan) -> Iterator[Finding]:
    """What is otherwise in slots that share a radio."""
    for why in on_wires(plan):
        yield problem(why, ADVICE)
    for step in plan.steps:
        if step.kind.verb == "ask":
            message = f"{_at(step)}: in slots that share a radio the label of the unit is scanned before each answer: '{step.name}'"
            yield note(message, "a slot with a separate radio asks for no label")
    yield from _turns(plan)


def _turns(plan: Plan) -> Iterator[Finding]:
    """Slots that share a radio wait for a whole step of the plan in which a connection is made."""
    for step in plan.nodes:
        if step.children and any(Cap.LINK in inner.kind.gives for inner in every_step(step.children)):
            message = f"{_at(step)}: '{step.name}' connects in it: other slots on the same radio wait until it is over"
            yield note(message, "write the connect step before it, where the plan allows it")


def _radios(plan: Plan, station: Station) -> Iterator[Finding]:
    """What the radios of the slots do not offer."""
    for kind in sorted(_kinds(station)):
        for step in plan.steps:
            if why := CANNOT[kind].get(step.kind.verb):
                yield problem(
                    f"{_at(step)}: the {kind} radio cannot do '{step.name}': {why}", "give the slot another radio"
                )
        for where, sentence in remarks(plan, kind):
            yield note(f"{where}: on the {kind} radio {sentence}")


def _kinds(station: Station) -> set[str]:
    if is_simulated(station):
        return {"virtual"}
    return {RadioChoice.parse(station.radio_of(slot).radio).kind for slot in station.slot_names}


def _fails(plan: Plan, name: str) -> Iterator[Finding]:
    """The step in which a known-bad unit must fail."""
    if not name:
        return
    called = [step for step in plan.steps if name in (step.name, step.written, step.id)]
    if not called:
        advice = suggest(name, [step.name for step in plan.steps]) or "name a step of the plan"
        yield problem(f"the plan has no step '{plain(name)}' in which the unit could fail", advice)
    elif all(step.children for step in called):
        inner = ", ".join(step.name for step in called[0].children[:5])
        yield problem(f"'{plain(name)}' has steps in it, and one of these fails", f"name one of them: {plain(inner)}")


def _at(step: StepPlan) -> str:
    return place_text(step.place)
