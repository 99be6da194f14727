"""What a run leaves behind: events, one line of `record.jsonl` each. The record that they add up to is `model.py`.

Every event says when, and those about a step say where. Times: `started` is UTC wall time; every `at` is seconds since
the start of the run on the run's own clock, every `elapsed` a duration on it, both to the microsecond. On a virtual
radio that clock is virtual, and all but `started` and `run_id` repeats with the seed.
Order: Opened comes before all else of an execution but NotJudged; what is skipped is closed without having been opened.
An execution opens and closes inside its parent, after its siblings unless the parent is `parallel`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal, TypeAlias

import msgspec

from benchrig.errors import Cause, UsageError
from benchrig.record.line_part import LinePart
from benchrig.record.study_part import StudyPart
from benchrig.values.access import AccessRow
from benchrig.values.judging import Judgement
from benchrig.values.quantity import Quantity, is_number

# Since 2 events say where, since 3 there are steps in steps, since 4 steps that become known as they are done; with 5 came
# what the history asks for. Only 1 has to be read in another way (`format1.py`).
FORMAT = 5

Verdict: TypeAlias = Literal["pass", "fail", "error", "skip"]
Section: TypeAlias = Literal["steps", "finally"]
Role: TypeAlias = Literal["step", "group", "repeat", "parallel"]

_RISING: tuple[Verdict, ...] = ("pass", "skip", "fail", "error")


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """What several verdicts come to; pass for none."""
    return max(verdicts, key=_RISING.index, default="pass")


# --- where and what


class Where(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """One attempt of one execution of a node of the plan."""

    node: str  # its id: "4", "4.2"
    rounds: tuple[int, ...] = ()  # of the repetitions around it, outermost first, from 1
    attempt: int = 1

    @property
    def execution(self) -> Where:
        """The same without the attempt."""
        return self if self.attempt == 1 else Where(self.node, self.rounds)

    @property
    def label(self) -> str:
        """For people: '4.2', '4.2 (round 3)'."""
        return f"{self.node} (round {'.'.join(map(str, self.rounds))})" if self.rounds else self.node


class PlannedNode(msgspec.Struct, omit_defaults=True, frozen=True):
    """One step of the plan, or several together."""

    id: str  # its place in the plan, the same in every round; those of children begin with it
    name: str
    kind: str
    place: str  # 'file:line'
    role: Role = "step"
    section: Section = "steps"
    device: str = ""  # the key of the device that it is about
    subject: str = ""  # the attribute that it is about, by UUIDs as a plan may write them: '180F/2A19[1]'
    limits: list[str] = []  # the readings held against a limit: each ends as passed, failed or not judged
    children: list[PlannedNode] = []
    written: str = ""  # the name with its references, where values of the run are part of the name
    part: str = ""  # the list of the step around it: 'first', 'steps', 'finally'
    tolerates: bool = False  # a limit decides how many of its children, or of its rounds, may fail
    rounds: int = 0  # of a repetition: how many there may be, as far as the plan says so
    seconds: float = 0.0  # and how long it takes, where the plan says that
    proves: list[str] = []  # the ids of the requirements that it proves
    package: str = ""  # the package that brings its kind, with its version: 'benchrig-scale 1.2'; "" for benchrig
    excused: bool = False  # Python asked for it, and decides itself what its failure means
    does: str = ""  # what it does where its name is not that: 'read temperature'
    left_before: list[str] = []  # in a partial run: the steps before it that change the unit and were left out

    @property
    def counts(self) -> bool:
        """Whether it is one of the steps that are counted: one with steps in it is where it has limits of its own."""
        return self.role == "step" or bool(self.limits)


class PlannedRequirement(msgspec.Struct, omit_defaults=True, frozen=True):
    """What the product promises. A run with fewer steps than the plan has for it does not prove it."""

    says: str
    steps: list[str] = []  # the ids of the steps of the whole plan that prove it


class PlannedDevice(msgspec.Struct, omit_defaults=True, frozen=True):
    """One device of the plan, as it is to be picked."""

    select: dict[str, Any] = {}  # as the plan has it, without keys
    only: str = ""  # the name or address that this run narrows it to


class PlannedLimits(msgspec.Struct, omit_defaults=True, frozen=True):
    """The limit set that stood in for limits of the plan. `sha256` is that of its file."""

    name: str
    version: str
    owner: str
    reason: str
    file: str
    sha256: str


class PlanSource(msgspec.Struct, omit_defaults=True, frozen=True):
    """A file of the plan as it was, without what is secret in it. The places of steps and limits name its lines."""

    file: str
    text: str
    left_out: int = 0  # lines beyond what is kept


class Fixture(msgspec.Struct, omit_defaults=True, frozen=True):
    """What holds the unit at a station, and with which software."""

    name: str
    software: str = ""

    def __str__(self) -> str:
        return f"{self.name}, software {self.software}" if self.software else self.name


# --- events


class Event(msgspec.Struct, tag_field="event", omit_defaults=True, frozen=True, gc=False):
    """Base of all events. They are JSON data, without circles: the collector need not look at thousands of them."""


class RunStarted(Event, tag="run", frozen=True):
    """The head of a record."""

    format: int
    run_id: str
    started: str
    plan: str  # its name
    plan_file: str
    plan_hash: str
    station: str
    radio: str
    simulated: bool
    nodes: list[PlannedNode]  # those of this run, as a tree
    versions: dict[str, str]
    devices: dict[str, PlannedDevice] = {}  # "" is the key of the only one
    revision: str = ""
    seed: int | None = None
    given: dict[str, str] = {}
    given_serial: str = ""  # the one that the unit should have, where the run was given it
    scanned: dict[str, str] = {}  # the whole texts that some of these were taken out of
    variants: dict[str, str] = {}  # the row of each table
    caution: str = ""
    left_out: int = 0  # steps of the plan that are not among the nodes
    requirements: dict[str, PlannedRequirement] = {}  # by id
    may_lack: list[str] = []  # limits ('step.reading') that a pass may do without where the radio cannot measure
    study: StudyPart | None = None  # the measurement of a gauge study that it is
    line: LinePart | None = None  # what it was at a line
    limit_set: PlannedLimits | None = None
    fixture: Fixture | None = None
    host: str = ""  # the computer that ran it
    plan_text: list[PlanSource] = []


class Added(Event, tag="added", frozen=True):
    """A step that the head does not have is about to be done, in a running one where its id says so. `devices` are new."""

    at: float
    node: PlannedNode
    devices: dict[str, PlannedDevice] = {}


class DeviceSeen(Event, tag="device", frozen=True):
    """A device under test, each time it was heard and when its serial number or a revision was read. A later event adds to
    an earlier one; with `swapped` another unit may stand in its place from here on."""

    at: float
    address: str = ""
    address_type: str = ""
    name: str = ""
    serial: str = ""
    where: Where | None = None
    swapped: bool = False
    device: str = ""
    firmware: str = ""  # firmware and hardware revision, as it told them
    hardware: str = ""


class Opened(Event, tag="opened", frozen=True):
    """An execution begins. Name and subject where the plan could not say them: they had a value that came in the run."""

    where: Where
    at: float
    name: str = ""
    subject: str = ""


class Noted(Event, tag="note", frozen=True):
    """Something a reader of the record should know: a stale link cleared, an acknowledged caution, output of a program."""

    at: float
    text: str
    where: Where | None = None
    device: str = ""
    sent: str | None = None  # the bytes that the text tells were sent, as in Reading.raw


class AttemptFailed(Event, tag="attempt", frozen=True):
    """An attempt of a step that was, or will be, tried again."""

    where: Where
    at: float
    cause: Cause
    message: str


class Samples(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """Statistics of a reading with many samples. Numbers only when the samples are numbers."""

    count: int
    minimum: float | None = None
    maximum: float | None = None
    mean: float | None = None
    sd: float | None = None  # sample standard deviation
    outside: int = 0  # how many broke the limit
    first_outside: int | None = None  # index of the first of them, from 0
    first_outside_at: float | None = None
    others: int = 0  # of the samples of a reading of numbers: how many were none


class Window(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """What a statistic is about: from when to when, in seconds since the start of the run, and of how many."""

    begin: float
    end: float
    count: int


class Kept(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """Samples of a reading that were kept, evenly over all that came: each `every`-th, from the first one on."""

    values: list[Any] = []  # JSON data
    at: list[float] = []  # seconds since the start of the run, of each
    every: int = 1
    left_out: int = 0  # samples that came and were not kept


class Reading(Event, tag="reading", frozen=True):
    """A named value that a step produced, on record when it is made. A stream tells its first sample outside at once, its
    state at most once a second, and its end: each takes the place of the one before."""

    where: Where
    at: float
    name: str
    value: Any = None  # JSON data; bytes that have no other meaning as in `raw`
    unit: str = ""
    raw: str | None = None  # upper-case hex, two digits an octet
    samples: Samples | None = None
    judgement: Judgement | None = None  # None where nothing was judged
    window: Window | None = None  # of a statistic
    partial: bool = False  # a stream that goes on: more is to come
    access: list[AccessRow] = []  # of what an access step found: the whole matrix
    kept: Kept | None = None  # samples, where they were asked for

    @property
    def quantity(self) -> Quantity:
        """The value with its unit. UsageError where it is not one number with a unit."""
        if not self.unit or not is_number(self.value):
            raise UsageError(f"the reading '{self.name}' is not a number with a unit, but {self.value!r}")
        return Quantity(self.value, self.unit)


class NotJudged(Event, tag="not judged", frozen=True):
    """A planned limit that nothing was held against, and why."""

    where: Where
    at: float
    name: str
    reason: str
    unmeasured: bool = False  # the radio does not tell the reading, or could not measure it
    allowed: bool = False  # plan or command line let the run pass without it, by name


class Closed(Event, tag="closed", frozen=True):
    """An execution is over, or was skipped."""

    where: Where
    at: float
    elapsed: float
    verdict: Verdict
    cause: Cause | None = None
    message: str = ""  # why the verdict is not pass, in one sentence or more
    advice: str = ""
    attempts: int = 1
    root: Where | None = None  # what made a skipped one impossible; of a parent, which child decided
    traceback: str = ""
    own: str | None = None  # the part of the message that no judgement says; None for all of it
    tells: str = ""  # the reading whose value stands in that part
    allowed: bool = False  # of a skipped one: a condition of the plan left it out, which is no failure

    @property
    def counts_as(self) -> Verdict:
        """What it means for what is around it."""
        return "pass" if self.allowed and self.verdict == "skip" else self.verdict

    @property
    def came_to(self) -> str:
        """The verdict, or 'left out' where the plan did that."""
        return "left out" if self.allowed and self.verdict == "skip" else self.verdict

    @property
    def own_message(self) -> str:
        return self.message if self.own is None else self.own


class Fates(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """What became of one limit, so many times."""

    passed: int = 0
    failed: int = 0
    not_judged: int = 0
    allowed: int = 0  # those of `not_judged` that a pass may do without

    def __add__(self, other: Fates) -> Fates:
        return Fates(
            self.passed + other.passed,
            self.failed + other.failed,
            self.not_judged + other.not_judged,
            self.allowed + other.allowed,
        )


class StepTally(msgspec.Struct, omit_defaults=True, frozen=True):
    """What one step of the plan came to in rounds that are not on record one by one."""

    node: str
    verdicts: dict[str, int] = {}  # how often it ended so; 'left out' where a condition of the plan left it out
    limits: dict[str, Fates] = {}  # by reading
    readings: dict[str, Samples] = {}  # of numbers, by reading
    units: dict[str, str] = {}
    others: dict[str, int] = {}  # how many values were no numbers, by reading
    retried: int = 0  # attempts that were followed by another
    elapsed: float = 0.0  # all together


class RoundsLeft(Event, tag="rounds", frozen=True):
    """What the rounds of a repetition came to that are not on record one by one: all but the first and last ones, and those
    that failed as far as there is room. A later event takes the place of an earlier one."""

    where: Where  # the repetition
    at: float
    rounds: int
    failed: int = 0  # those with a step that did not pass
    steps: list[StepTally] = []


class RunEnded(Event, tag="verdict", frozen=True):
    """The verdict of the run."""

    at: float
    verdict: Verdict
    exit_code: int
    judged: int  # limits
    cause: Cause | None = None
    root: Where | None = None  # whose end decided: the first in time that did not pass
    message: str = ""
    advice: str = ""
    planned: int = 0  # limits: `judged` and `not_judged` ones
    not_judged: int = 0
    allowed: int = 0  # those of `not_judged` that a pass may do without


AnyEvent: TypeAlias = (
    RunStarted | Added | DeviceSeen | Opened | Noted | AttemptFailed | Reading | NotJudged | Closed | RoundsLeft
    | RunEnded
)  # fmt: skip
