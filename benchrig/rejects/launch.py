"""Many units from options to what the plan made of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.escapes.launch import simulated_devices, tried
from benchrig.escapes.results import Hunted, from_json, versions
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.rejects import sensitivity, tight
from benchrig.rejects.results import FORMAT, Rejects, UnitRun
from benchrig.rejects.running import Tested, Testing, tested
from benchrig.rejects.units import MOST_UNITS, Units
from benchrig.steps.bench import Operator
from benchrig.workers import cores


@dataclass(frozen=True)
class RejectOptions:
    """`values` are those that the plan is given, whatever is on the label of a unit; `unit` is one alone; `limits` is the
    file of a limit set."""

    path: Path
    radio: RadioChoice
    values: Mapping[str, str]
    count: int = 1000
    unit: int | None = None
    seed: int = 0
    rate: float = 0.001
    confidence: float = 0.95
    jobs: int = field(default_factory=cores)
    escapes: Path | None = None
    limits: Path | None = None

    @property
    def first(self) -> int:
        return 1 if self.unit is None else self.unit

    @property
    def asked(self) -> int:
        return self.count if self.unit is None else 1

    def units(self) -> Units:
        """PlanError, UsageError: see simulated_devices."""
        if self.first + self.asked > MOST_UNITS:
            raise UsageError(f"units have numbers below {MOST_UNITS}")
        return Units(simulated_devices(self.radio, "tested so"), self.radio.air, self.seed)


@dataclass
class Plans:
    """The plan for each unit: with what is on its label, where the plan asks for that."""

    path: Path
    values: Mapping[str, str]
    seed: int
    limits: Path | None = None
    _made: dict[tuple[tuple[str, str], ...], Plan] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.asked = load_plan(self.path, names_will_do=True).given

    def of(self, labels: Mapping[str, str]) -> Plan:
        """PlanError. The last one is kept: most plans ask for nothing."""
        read = tuple(sorted((name, text) for name, text in labels.items() if name in self.asked))
        if read not in self._made:
            values = {**dict(read), **self.values}
            self._made = {read: load_plan(self.path, values, seed=self.seed, limits=self.limits)}
        return self._made[read]


def rejected(
    options: RejectOptions, operator: Operator, told: Callable[[UnitRun], object] = lambda run: None
) -> Rejects:
    """What the plan makes of good units. PlanError, UsageError; OperatorError where somebody would have to answer."""
    units = options.units()
    plans = Plans(options.path, options.values, options.seed, options.limits)
    plan = plans.of(units.unit(options.first).labels)
    made = _head(options, units, plan)
    hunted = _faults(options, made)
    testing = Testing(units, plans.of, operator, options.jobs)
    _fill(made, tested(testing, options.first, options.asked, told), hunted)
    return made


def _faults(options: RejectOptions, made: Rejects) -> Hunted | None:
    if options.escapes is None:
        return None
    try:
        hunted = from_json(options.escapes.read_bytes())
    except OSError as error:
        raise UsageError(f"{options.escapes} cannot be read: {error.strerror}") from error
    sensitivity.check_fits(hunted, made)
    return hunted


def _fill(made: Rejects, of: Tested, hunted: Hunted | None) -> None:
    runs = of.runs
    made.tested, made.failed, made.interrupted = len(runs), of.failed, of.interrupted
    made.rejected = [run for run in runs if run.is_rejected]
    if not runs:
        return
    if len(made.rejected) == len(runs) > 1:
        made.notes.append("no unit passes: see with 'benchrig run' whether the one of the device file does")
    made.rate = tight.share_of(len(made.rejected), len(runs), made.confidence)
    made.steps = tight.rejecting(runs, made.confidence)
    seen, times = tight.by_limit(runs), sensitivity.mean_times(runs)
    names = {node.id: node.name for node in sensitivity.every_node(made.nodes)}
    made.tight = tight.too_tight(seen, names, made.asked_rate, made.confidence)
    made.limits = sensitivity.limits_of(made.nodes, seen, times, hunted)
    if hunted is not None:
        made.faults, made.idle = hunted.judged, sensitivity.idle(made.nodes, times, hunted)


def _head(options: RejectOptions, units: Units, plan: Plan) -> Rejects:
    notes = [] if units.device.spread else ["the device file has no 'spread': its units differ in nothing but the air"]
    return Rejects(
        **tried(FORMAT, plan, options.radio, units.device.name, units.air_name),
        seed=options.seed,
        first=options.first,
        confidence=options.confidence,
        asked_rate=options.rate,
        versions=versions(),
        nodes=[node.planned() for node in plan.nodes],
        asked=options.asked,
        notes=notes,
    )
