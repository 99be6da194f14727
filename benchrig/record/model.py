"""What a run leaves behind, as events (one line of `record.jsonl` each) and as the record they add up to.

Times: `started` is UTC wall time; every `at` is seconds since the start of the run on the run's own clock, every
`elapsed` a duration on it. On a virtual radio that clock is virtual, and all but `started` and `run_id` repeats
with the seed.
"""

from __future__ import annotations

from typing import Any, Literal, TypeAlias

import msgspec

from benchrig.errors import Cause
from benchrig.values.judging import Judgement

FORMAT = 1

Verdict: TypeAlias = Literal["pass", "fail", "error", "skip"]
Section: TypeAlias = Literal["steps", "finally"]


class Where(msgspec.Struct, omit_defaults=True, frozen=True):
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


class Event(msgspec.Struct, tag_field="event", omit_defaults=True, frozen=True):
    """Base of all events."""


class PlannedStep(msgspec.Struct, omit_defaults=True, frozen=True):
    """One step as the plan has it. `number` counts from 1 over the whole plan, `place` is 'file:line'; `limits` are the
    names of the readings that it holds against a limit: each of them ends as passed, failed or not judged."""

    number: int
    name: str
    kind: str
    place: str
    section: Section = "steps"
    limits: list[str] = []


class RunStarted(Event, tag="run", frozen=True):
    """`steps` are those of this run; `left_out` counts the steps of the plan that are not among them. `may_lack` names
    the limits ('step.reading') that need not be judged where the radio does not tell the reading."""

    run_id: str
    started: str
    plan: str
    plan_file: str
    plan_hash: str
    station: str
    radio: str
    simulated: bool
    steps: list[PlannedStep]
    versions: dict[str, str]
    revision: str = ""
    seed: int | None = None
    given: dict[str, str] = {}
    caution: str = ""
    left_out: int = 0
    may_lack: list[str] = []
    format: int = FORMAT


class UnitSeen(Event, tag="unit", frozen=True):
    """The unit under test, each time it was heard and when its serial number was read, with the step. A later event adds
    to an earlier one; with `swapped` another unit may stand in its place from here on."""

    at: float
    address: str = ""
    address_type: str = ""
    name: str = ""
    serial: str = ""
    step: int | None = None
    swapped: bool = False


class StepStarted(Event, tag="step", frozen=True):
    """`name` is the step's where the plan could not say it: its text had a value that came in the run."""

    step: int
    at: float
    name: str = ""


class Noted(Event, tag="note", frozen=True):
    """Something a reader of the record should know: a stale link cleared, an acknowledged caution, output of a program."""

    at: float
    text: str
    step: int | None = None


class AttemptFailed(Event, tag="attempt", frozen=True):
    """One attempt of a step that was, or will be, tried again."""

    step: int
    attempt: int
    at: float
    cause: Cause
    message: str


class Samples(msgspec.Struct, omit_defaults=True, frozen=True):
    """Statistics of a reading with many samples. Numbers only when the samples are numbers; sd is the sample
    standard deviation. `outside` counts the samples that broke the limit, `first_outside` is the index (from 0),
    `first_outside_at` the time of the first of them."""

    count: int
    minimum: float | None = None
    maximum: float | None = None
    mean: float | None = None
    sd: float | None = None
    outside: int = 0
    first_outside: int | None = None
    first_outside_at: float | None = None


class Window(msgspec.Struct, omit_defaults=True, frozen=True):
    """What a statistic is about: from when to when, in seconds since the start of the run, and of how many."""

    begin: float
    end: float
    count: int


class Reading(Event, tag="reading", frozen=True):
    """A named value that a step produced. `value` is JSON data: a number, text, true or false, null, a list or a
    mapping; bytes are upper-case hex text in `raw`, two digits an octet, and stand in `value` too when the reading
    has no other meaning. A reading without `judgement` was not judged. `window` stands with the statistics of a
    stream. A stream that goes on tells its state so far with `partial`; the next one takes its place."""

    step: int
    name: str
    value: Any = None
    unit: str = ""
    raw: str | None = None
    samples: Samples | None = None
    judgement: Judgement | None = None
    window: Window | None = None
    at: float | None = None
    partial: bool = False


class NotJudged(Event, tag="not judged", frozen=True):
    """A planned limit that nothing was held against, and why. `unmeasured`: the radio does not tell the reading, or could
    not measure it; `allowed`: the plan or the command line lets the run pass without that, by name."""

    step: int
    at: float
    name: str
    reason: str
    unmeasured: bool = False
    allowed: bool = False


class StepEnded(Event, tag="end", frozen=True):
    """`root` of a skipped step is the number of the step that made it impossible; `message` says why a verdict is
    not pass, in one sentence or more; `attempts` is 1 when the first one did it."""

    step: int
    at: float
    elapsed: float
    verdict: Verdict
    cause: Cause | None = None
    message: str = ""
    advice: str = ""
    attempts: int = 1
    root: int | None = None
    traceback: str = ""


class RunEnded(Event, tag="verdict", frozen=True):
    """The verdict of the run. `root` is the number of the step whose end decided it: the first in time that did not
    pass. `planned` limits are `judged` ones and `not_judged` ones; `allowed` of these may be missing from a pass."""

    at: float
    verdict: Verdict
    exit_code: int
    judged: int
    cause: Cause | None = None
    root: int | None = None
    message: str = ""
    advice: str = ""
    planned: int = 0
    not_judged: int = 0
    allowed: int = 0


AnyEvent: TypeAlias = (
    RunStarted | UnitSeen | StepStarted | Noted | AttemptFailed | Reading | NotJudged | StepEnded | RunEnded
)


class StepRecord(msgspec.Struct):
    """Everything about one step. `ended` is None for a step that was not reached or was cut off."""

    planned: PlannedStep
    started_at: float | None = None
    readings: list[Reading] = []
    not_judged: list[NotJudged] = []
    attempts: list[AttemptFailed] = []
    notes: list[Noted] = []
    ended: StepEnded | None = None


class Record(msgspec.Struct):
    """One run of one plan on one unit. `cut_off` when the run was killed before it could say its verdict."""

    run: RunStarted
    steps: list[StepRecord]
    unit: UnitSeen | None = None
    sightings: list[UnitSeen] = []
    notes: list[Noted] = []
    ended: RunEnded | None = None

    @property
    def cut_off(self) -> bool:
        return self.ended is None
