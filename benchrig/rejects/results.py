"""What many good units came to, as data. Written as JSON."""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

from benchrig.escapes.results import Came, Tried
from benchrig.record.events import PlannedLimits, PlannedNode
from benchrig.rejects.seen import Seen
from benchrig.study.reaching import Method

FORMAT = 1
# The numbers of so many units are named as examples.
EXAMPLES = 10

Side: TypeAlias = Literal["low", "high"]


class UnitRun(msgspec.Struct, frozen=True, omit_defaults=True):
    """One unit. `seed` is that of its run; `by` and `also` of `came` are what it was rejected for."""

    number: int
    seed: int
    came: Came
    seen: list[Seen] = []
    times: dict[str, float] = {}

    @property
    def is_rejected(self) -> bool:
        return self.came.verdict != "pass"


class Share(msgspec.Struct, frozen=True):
    """So many of so many, and where the share behind it is: exact (Clopper and Pearson). Without hits the interval is
    one-sided, from 0 on; else half of the risk is on either side."""

    hits: int
    trials: int
    share: float
    low: float
    high: float
    sided: Literal["one", "two"]


class Rejecting(msgspec.Struct, frozen=True, omit_defaults=True):
    """A step or a limit that rejected good units. `first`: so many times it was the end that decided; `units` are some."""

    node: str
    step: str
    reading: str
    cause: str
    rate: Share
    first: int
    units: list[int]
    message: str


class Tight(msgspec.Struct, frozen=True, omit_defaults=True):
    """A bound of a limit that more units are beyond than asked. `proposed` is None where these units do not show one:
    `needed` units would. `now` is None where the bound is another one in each run: `wider` by so much then."""

    node: str
    step: str
    reading: str
    side: Side
    unit: str
    rate: Share
    needed: int
    now: float | None = None
    proposed: float | None = None
    wider: float | None = None
    method: Method | None = None


class LimitSeen(msgspec.Struct, frozen=True, omit_defaults=True):
    """A limit over all units. `distance` is the mean distance to its nearer bound, `deviations` the same in standard
    deviations, `nearest` that of the nearest unit. `caught` of the `faults` break it, `alone` nothing else does; None
    without results of escapes. `seconds` is what its step takes."""

    node: str
    step: str
    reading: str
    judged: int
    rejected: int
    unit: str = ""
    distance: float | None = None
    deviations: float | None = None
    nearest: float | None = None
    nearest_unit: int | None = None
    seconds: float | None = None
    caught: int | None = None
    alone: int | None = None


class Idle(msgspec.Struct, frozen=True):
    """A step that catches no fault."""

    node: str
    step: str
    seconds: float


class Rejects(Tried, omit_defaults=True):
    """A plan over good units. `asked` were to be tested: more than `tested` where that was interrupted."""

    seed: int
    first: int  # number of the first unit
    confidence: float
    asked_rate: float
    versions: dict[str, str]
    nodes: list[PlannedNode]
    asked: int
    tested: int = 0
    rate: Share | None = None
    rejected: list[UnitRun] = msgspec.field(default_factory=list)
    steps: list[Rejecting] = msgspec.field(default_factory=list)
    tight: list[Tight] = msgspec.field(default_factory=list)
    limits: list[LimitSeen] = msgspec.field(default_factory=list)
    faults: int | None = None  # of the results of escapes: those judged
    idle: list[Idle] = msgspec.field(default_factory=list)
    failed: list[str] = msgspec.field(default_factory=list)  # units that benchrig could not test
    interrupted: bool = False
    notes: list[str] = msgspec.field(default_factory=list)
    limit_set: PlannedLimits | None = None
