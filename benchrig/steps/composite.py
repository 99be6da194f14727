"""Steps with steps in them: what they share, and what their action is handed of these.

A new kind is one file with a subclass of Composite: the names of its lists in `parts`, its own readings, its `run`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Coroutine, Iterable
from collections.abc import Mapping as AnyMapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, Protocol, TypeVar

from benchrig.errors import BenchrigError, InnerError, LeftOut
from benchrig.source.problem import Place
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import Mapping, Node
from benchrig.steps.base import NOTHING, Cap, ReadingType, Step
from benchrig.steps.bench import Bench

T = TypeVar("T")


class StepList:
    """Stands for a list of steps, which is no part of the model: the loader makes nodes of it."""

    source_schema: ClassVar[dict[str, Any]] = {"$ref": "#/$defs/Steps"}

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> StepList:
        return cls()


@dataclass(frozen=True)
class InnerReading:
    """A reading of a step inside, 'STEP.READING', or a statistic of it over the rounds: p95, mean, spread."""

    step: str
    reading: str
    statistic: str = ""
    # of the reading, where the plan says so
    unit: str = ""


@dataclass(frozen=True)
class Came:
    """What a part came to. `failed` counts the steps that did not pass, those that were left out too, unless by a
    condition of their own. `error` is None when all passed; `over`: nothing may begin after it."""

    passed: int = 0
    failed: int = 0
    # those that began
    begun: int = 0
    error: InnerError | None = None
    over: bool = False

    def __add__(self, later: Came) -> Came:
        """Both together: the worse one decides, of equal ones the first."""
        errors = [came.error for came in (self, later) if came.error is not None]
        error = max(errors, key=lambda each: each.weight, default=None)
        return Came(
            self.passed + later.passed,
            self.failed + later.failed,
            self.begun + later.begun,
            error,
            self.over or later.over,
        )


class Watch:
    """Sees what the steps inside do, those inside them too. A subclass has what it wants to see."""

    def begins(self, step: str) -> None:
        """The step with this name begins now."""

    def wants(self, step: str, reading: str) -> bool:
        """Whether it uses this reading, which the step may else leave out."""
        return False

    def measured(self, step: str, reading: str, value: Any, unit: str, raw: bytes | None) -> None:
        """A reading of the attempt that counts, when the step has ended; a sample of a stream, when it is made."""

    def unmeasured(self, step: str, reading: str, why: str) -> None:
        """The radio does not tell this reading."""

    def left_out(self, step: str, why: str) -> None:
        """A condition of the plan left the step out."""

    def ended(self, step: str, verdict: str) -> None:
        """The step with this name has ended; a step that was left out ends as skip without having begun."""


class Inside(Protocol):
    """The steps in a composite step. Nothing here raises for what happens to them: that is in what comes back."""

    async def run(
        self,
        part: str = "steps",
        values: AnyMapping[str, Any] | None = None,
        watch: Watch | None = None,
        since: float | None = None,
        within: float | None = None,
    ) -> Came:
        """Carry out a part, in a repetition as its next round; references to `values` work in it. To the first step in it
        belongs what a console printed `since` then, or since the step before began. All of them have to end `within` so
        many seconds."""
        ...

    def leave_out(self, part: str, error: InnerError) -> Came:
        """A part is not to be carried out, and why: none of its steps has passed. One that was neither run nor left out is
        left out in the end."""
        ...

    def value(self, key: str) -> Any:
        """What a `late` key of the composite step says, with what the steps in it have saved. UnfitValue, StepFailed."""
        ...

    def called(self, name: str) -> str | None:
        """The whole name of the step inside that is called so; None for none."""
        ...

    def find(self, name: str) -> InnerReading | None:
        """The reading of a step inside that a limit means; None for a reading of the composite step itself."""
        ...


class CompositeBench(Bench, Protocol):
    """What the action of a composite step may touch."""

    inside: Inside

    def leave_out(self, name: str, why: str) -> None:
        """The step that has this reading was left out by a condition of the plan: a limit on it is not judged."""
        ...

    async def own(self, work: Coroutine[Any, Any, T], seconds: float) -> T:
        """Do something between the steps, with so much time: an interruption ends it, and so does the plan's deadline."""
        ...


class Composite(Step, kw_only=True):
    """It needs, gives and ends nothing of its own: the steps in it do. It has no deadline, and is not tried again."""

    # carried out once, or in rounds
    role: ClassVar[Literal["group", "repeat"]] = "group"
    # the keys with lists of steps, in their order
    parts: ClassVar[tuple[str, ...]] = ("steps",)
    # whether it does something without any steps in it
    stands_alone: ClassVar[bool] = False
    # the parts in which it needs the link itself
    keeps_link: ClassVar[frozenset[str]] = frozenset()
    # the parts before which it connects itself
    connects_for: ClassVar[frozenset[str]] = frozenset()
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False
    within_default: ClassVar[float] = math.inf

    steps: StepList

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.within is not None and math.isinf(self.within_default):
            message = f"a {self.verb} step has no deadline"
            yield Misfit(message, "write within: in the steps in it", ("within",))

    def misfits_inside(self, steps: AnyMapping[str, bool], *, instant: bool) -> Iterable[Misfit]:
        """What is wrong with it for the steps in it: their names, each with whether it runs in rounds; `instant`: none of
        them takes time."""
        return ()

    @classmethod
    def values_inside(cls, node: Mapping) -> dict[str, Place | None]:
        """The names that have a value for the steps inside alone, with the place of those that the plan chose."""
        return {}

    @classmethod
    def listed_inside(cls, node: Mapping) -> dict[str, list[Any]]:
        """All that such a name will be, where the plan lists it."""
        return {}

    @property
    def tolerates(self) -> bool:
        """Whether a limit decides how many may fail, so that a failure alone is none of the whole."""
        return not JUDGES_FAILURES.isdisjoint(self.limits)

    @property
    def extent(self) -> tuple[int, float]:
        """Of a repetition how many rounds there may be, and how many seconds it takes; 0 for what is not known."""
        return 0, 0.0

    def cut_short(self, came: Came) -> None:
        """Before the readings of the whole: what did not come to its end is not judged. InnerError."""
        error = came.error
        if error is None and not came.begun:
            raise LeftOut
        if error is not None and (
            came.over or error.verdict == "error" or (error.verdict == "skip" and not self.tolerates)
        ):
            raise error

    def report_counts(self, bench: CompositeBench, came: Came) -> None:
        """How many passed and failed; where a limit on that is broken the worst failure is told."""
        telling = telling_of(came.error)
        bench.reading("passed", came.passed, telling=telling)
        bench.reading("failed", came.failed, telling=telling)

    def conclude(self, came: Came) -> None:
        """After these readings: what is inside decides, unless a limit does. InnerError."""
        if came.error is not None and not self.tolerates:
            raise came.error


def telling_of(error: BenchrigError | None) -> Callable[[str], str] | None:
    """Makes a sentence about failures tell the one that weighs most."""
    return None if error is None else lambda sentence: f"{sentence}: {error.message}"


JUDGES_FAILURES = frozenset({"passed", "failed", "failed_share", "decision"})
# Readings of a composite step whose steps are carried out once.
OF_STEPS = {
    "elapsed": ReadingType("number", "s", "from its first step to the end of its last one"),
    "passed": ReadingType("number", "", "steps that passed"),
    "failed": ReadingType("number", "", "steps that did not pass"),
}
