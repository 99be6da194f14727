"""What a hunt came to, as data: each fault with what a plan made of it. Written as JSON and read back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from importlib.metadata import version
from platform import python_version
from typing import Literal, TypeAlias

import msgspec

from benchrig.errors import Cause, UsageError
from benchrig.faults.fault import WEIGHTS, Family, Fault, Weight
from benchrig.record.events import PlannedLimits, PlannedNode, Verdict
from benchrig.version import __version__

FORMAT = 1

Outcome: TypeAlias = Literal[
    "escaped",  # the plan passes it
    "by luck",  # the plan passes it with some seeds
    "blamed wrongly",  # the plan does not pass it, and puts it on whom it is not
    "failed",  # benchrig could not try it
    "caught",
    "argued",  # the plan passes it, and somebody said why that is right
    "left",  # the plan passes it, and another plan that is run too catches it
    "harmless",  # the station is at fault, the unit is sound: a pass is right
    "not applicable",  # the device has nothing that could break so
]
# In the order in which people are told.
OUTCOMES: tuple[Outcome, ...] = (
    "blamed wrongly", "failed", "escaped", "by luck", "caught", "left", "argued", "harmless", "not applicable",
)  # fmt: skip
# Those that a plan has to answer for, and what it should have done.
JUDGED: frozenset[Outcome] = frozenset({"blamed wrongly", "escaped", "by luck", "caught"})
PASSED: frozenset[Outcome] = frozenset({"escaped", "by luck"})


class Catch(msgspec.Struct, frozen=True, omit_defaults=True):
    """A step, or a limit in it, that did not pass. `reading` is '' where the step itself ended so, `node` where the run
    did outside of any step; `times` are the rounds in which it did."""

    node: str
    step: str
    reading: str
    cause: Cause
    message: str
    times: int = 1


class Came(msgspec.Struct, frozen=True, omit_defaults=True):
    """What one trial came to. `by` is the end that decided: the first in time; None when the run passed. `also` are the
    other ones, in the order of the plan, up to where the trial ended; `through` so many nodes of the plan were carried out until then."""

    seed: int
    verdict: Verdict
    elapsed: float  # seconds until the end that decided, on the clock of the run
    through: int
    by: Catch | None = None
    also: list[Catch] = []


class About(msgspec.Struct, frozen=True, omit_defaults=True):
    """The fault itself."""

    name: str
    family: Family
    weight: Weight
    says: str
    causes: list[Cause]
    subject: str = ""

    @classmethod
    def of(cls, fault: Fault) -> About:
        return cls(fault.name, fault.family, fault.weight, fault.says, sorted(fault.causes), fault.subject)


class Argument(msgspec.Struct, frozen=True, omit_defaults=True):
    """Why an escape is right. `by` is '' for a rule of benchrig's own, `left_to` the plan that catches it."""

    why: str
    by: str = ""
    date: str = ""
    left_to: str = ""


class Result(msgspec.Struct, frozen=True, omit_defaults=True):
    """One fault. `reason` says why there was nothing to try, or what benchrig failed of."""

    fault: About
    outcome: Outcome
    trials: list[Came] = []
    argument: Argument | None = None
    reason: str = ""

    @property
    def told(self) -> Came | None:
        """The trial that its outcome is told by: of one that was caught by luck one that passed."""
        passing = [each for each in self.trials if (each.by is None) == (self.outcome in PASSED)]
        wrong = [
            each for each in passing if each.by and self.outcome == "blamed wrongly" and is_wrong(self.fault, each.by)
        ]
        return next(iter(wrong or passing or self.trials), None)

    @property
    def by(self) -> Catch | None:
        return self.told.by if self.told else None

    @property
    def passed_with(self) -> list[int]:
        """The seeds with which the plan passed it."""
        return [each.seed for each in self.trials if each.by is None]


class StepCoverage(msgspec.Struct, frozen=True):
    """How many faults of the unit a step, or one in it, notices; `first` are those that no other step noticed before."""

    node: str
    name: str
    limits: int
    caught: int
    first: int


class RequirementCoverage(msgspec.Struct, frozen=True):
    """What the product promises, the steps that prove it, and how many faults these notice."""

    id: str
    says: str
    steps: list[str]
    caught: int

    @property
    def lacks(self) -> str:
        """What is wrong with it; '' for nothing."""
        if not self.steps:
            return "no step proves it"
        return "" if self.caught else f"no fault is noticed by its steps: {', '.join(self.steps)}"


class Coverage(msgspec.Struct, frozen=True):
    """Over all faults of a device. Only trials that went on after the first catch tell whether a step that was never
    first notices anything."""

    steps: list[StepCoverage]
    requirements: list[RequirementCoverage]

    @property
    def idle(self) -> list[StepCoverage]:
        """The steps that have limits and notice nothing. One without is there for what it does."""
        return [each for each in self.steps if each.limits and not each.caught]


class Tried(msgspec.Struct, omit_defaults=True):
    """Which plan was tried on which device."""

    format: int
    plan: str
    plan_file: str
    plan_hash: str
    revision: str
    device: str
    device_files: list[str]
    device_hash: str
    air: str


class Hunted(Tried, omit_defaults=True):
    """A plan over the faults of a device. `asked` faults were to be tried: more than `results` where that was interrupted."""

    seeds: list[int]
    versions: dict[str, str]
    nodes: list[PlannedNode]
    asked: int
    results: list[Result] = []
    coverage: Coverage | None = None  # of the plan, where every fault of the device was tried
    whole: bool = False  # whether trials go on after the first catch, so that all that catch a fault are known
    interrupted: bool = False
    stale: list[str] = []  # arguments that nothing needs
    notes: list[str] = []
    limit_set: PlannedLimits | None = None

    def of(self, *outcomes: Outcome) -> list[Result]:
        return [each for each in self.results if each.outcome in outcomes]

    @property
    def counts(self) -> Counter[Outcome]:
        return Counter(each.outcome for each in self.results)

    @property
    def judged(self) -> int:
        """The faults that the plan has to answer for."""
        return sum(self.counts[outcome] for outcome in JUDGED)

    @property
    def share(self) -> float | None:
        """Of these, what was caught and put on the right one; None without any."""
        return self.counts["caught"] / self.judged if self.judged else None


def is_wrong(fault: About, catch: Catch) -> bool:
    """Whether the run blamed what was not to blame: a fault of the unit is never one of benchrig or of the plan."""
    return catch.cause not in fault.causes or catch.cause in ("internal", "plan")


def ordered(results: Iterable[Result]) -> list[Result]:
    """What matters most first."""
    return sorted(results, key=lambda each: order(each.fault))


def order(fault: About | Fault) -> tuple[int, str, str]:
    return WEIGHTS.index(fault.weight), fault.family, fault.name


def versions() -> dict[str, str]:
    """Of what a result depends on."""
    theirs = {name: version(name) for name in ("bleak", "bumble")}
    return {"benchrig": __version__, **theirs, "python": python_version()}


def to_json(hunted: Hunted) -> bytes:
    return msgspec.json.encode(hunted)


def from_json(data: bytes) -> Hunted:
    """UsageError for what is no result of a hunt."""
    try:
        return msgspec.json.decode(data, type=Hunted)
    except msgspec.DecodeError as error:
        raise UsageError(f"expected what benchrig escapes --json wrote, found something else: {error}") from error


Told: TypeAlias = Callable[[Result], None]
