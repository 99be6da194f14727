"""What one attempt of a step gives: each reading judged, saved, and on record when it is made."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from benchrig.errors import StationError, StepFailed, UsageError
from benchrig.record.events import AnyEvent, Kept, Reading, Where
from benchrig.run.clock import Clock
from benchrig.run.judge import Judge
from benchrig.run.stream import RunStream, kept_of
from benchrig.source.problem import suggest
from benchrig.values.jsonable import hex_text, jsonable
from benchrig.values.kept import Keeper
from benchrig.values.quantity import Quantity, exact
from benchrig.values.units import unit_named

if TYPE_CHECKING:
    from benchrig.steps.base import Step
    from benchrig.steps.composite import Watch
    from benchrig.values.access import AccessRow


class Told:
    """Those who watch a step, seen from it."""

    def __init__(self, step: str, watches: Sequence[Watch]) -> None:
        self._step, self._watches = step, watches

    def wants(self, name: str) -> bool:
        return any(watch.wants(self._step, name) for watch in self._watches)

    def measured(self, name: str, value: Any, unit: str, raw: bytes | None) -> None:
        for watch in self._watches:
            watch.measured(self._step, name, value, unit, raw)

    def unmeasured(self, name: str, why: str) -> None:
        for watch in self._watches:
            watch.unmeasured(self._step, name, why)


_RETURN_IT = "return it; {'value': None} says that the unit gave none"


class Readings:
    """Of one attempt. What is saved joins the `values` of the run; `lacks` says why the radio has no such reading of the
    step, '' when it has; `told` are those who watch it; of each stream `keep` samples are kept at most."""

    def __init__(
        self,
        where: Where,
        step: Step,
        judge: Judge,
        clock: Clock,
        emit: Callable[[AnyEvent], None],
        values: dict[str, Any],
        lacks: Callable[[str], str],
        told: Told | None = None,
        keep: int = 0,
    ) -> None:
        self.all: list[Reading] = []
        # the names of the limits that something was held against, and what those that were broken say
        self.judged: set[str] = set()
        self.broken: list[str] = []
        # the streams of an attempt that were left open
        self._unclosed: list[str] = []
        self.lacks = lacks
        self._where, self._judge = where, judge
        self._limits, self._saves, self._foreign = judge.limits, step.save, step.readings_are_foreign
        self._clock, self._emit, self._values = clock, emit, values
        self._streams: list[RunStream] = []
        self._unmeasured: dict[str, str] = {}
        self.left_out: dict[str, str] = {}
        self._saved: set[str] = set()
        self._given: set[str] = set()
        self._told, self._keep = told, keep
        self._values_given: list[tuple[str, Any, str, bytes | None]] = []
        self._over = False

    # --- what a step says

    def wanted(self, name: str) -> bool:
        if name in self._limits or name in self._saves:
            return True
        return self._told is not None and self._told.wants(name)

    def not_measured(self, name: str, why: str) -> None:
        self._unmeasured[name] = why

    def leave_out(self, name: str, why: str) -> None:
        """Conditions of the plan left out the step that has this reading."""
        self.left_out[name] = why

    def give(
        self,
        name: str,
        value: Any,
        unit: str = "",
        raw: bytes | None = None,
        *,
        why: str = "",
        telling: Callable[[str], str] | None = None,
        window: tuple[float, float, int] | None = None,
        access: Sequence[AccessRow] = (),
        evidence: object = None,
        samples: Iterable[tuple[float, Any]] = (),
    ) -> None:
        self._only_once(name)
        judged = name in self._limits and not self.lacks(name) and name not in self._unmeasured
        judgement = self._judge.judge(name, value, unit, why, evidence) if judged else None
        if telling is not None and judgement is not None and not judgement.passed:
            judgement = replace(judgement, sentence=telling(judgement.sentence))
        if name == "att_error" and judgement is None and not self.wanted(name):
            return
        octets = None if raw is None else hex_text(raw)
        about = self._clock.window(*window) if window else None
        at = self._clock.at
        said = (name, jsonable(value), unit, octets, None, judgement, about)
        kept = self._kept(samples)
        self._put(Reading(self._where, at, *said, access=[*access], kept=kept))
        self._save(name, value, unit)
        if self._told is not None:
            self._values_given.append((name, value, unit, raw))

    def _kept(self, samples: Iterable[tuple[float, Any]]) -> Kept | None:
        if not self._keep:
            return None
        keeper = Keeper(self._keep)
        for at, value in samples:
            keeper.add(self._clock.seconds(at), jsonable(value))
        return kept_of(keeper)

    def malformed(self, data: bytes) -> None:
        """The bytes of a value that does not fit its format."""
        self._check_open("value")
        self._put(Reading(self._where, self._clock.at, "value", None, raw=hex_text(data)))

    def stream(self, name: str, unit: str = "") -> RunStream:
        self._only_once(name)
        running = self._judge.running(name, unit)
        also = self._told.measured if self._told is not None else None
        stream = RunStream(self._where, name, unit, running, self._clock, self._emit, also, self._keep)
        self._streams.append(stream)
        return stream

    def _only_once(self, name: str) -> None:
        """A limit is held against one reading: of two nobody could say which one counts. UsageError for a second one."""
        self._check_open(name)
        if name in self._given:
            raise UsageError(f"the step gave the reading '{name}' twice", advice="give each reading its own name")
        self._given.add(name)

    def _check_open(self, name: str) -> None:
        """A function may have kept what gives readings: those of an attempt that is over belong to nothing."""
        if self._over:
            raise UsageError(f"the step that gave '{name}' is over", advice="return when all is done")

    def _put(self, reading: Reading) -> None:
        """On record at once: a run that dies in this step keeps what it had measured."""
        self.all.append(reading)
        if reading.judgement is not None:
            self.judged.add(reading.name)
            self.broken += [] if reading.judgement.passed else [reading.judgement.sentence]
        self._emit(reading)

    def _save(self, name: str, value: Any, unit: str) -> None:
        variable = self._saves.get(name)
        if variable is None or value is None:
            return
        if unit and isinstance(value, (int, float)):
            value = Quantity(exact(value), unit_named(unit))
        self._values[variable] = value
        self._saved.add(variable)

    # --- after the attempt

    def finish(self) -> None:
        """The streams are over, and nothing more is given."""
        self._over = True
        for stream in self._streams:
            self._put(stream.reading())
            self._save(stream.name, stream.value, stream.unit)
        self._unclosed = [each.name for each in self._streams if not each.is_closed]
        self._streams = []

    def tell(self) -> None:
        """Whoever watches gets what was measured: this was the attempt that counts."""
        if self._told is None:
            return
        for name, why in self._unmeasured.items():
            self._told.unmeasured(name, why)
        for name, value, unit, raw in self._values_given:
            if why := self._unmeasured.get(name) or self.lacks(name):
                self._told.unmeasured(name, why)
            else:
                self._told.measured(name, value, unit, raw)

    def unmeasured(self) -> dict[str, str]:
        """The limits without a judgement that nothing can be held against on this radio, and why."""
        return {name: why for name, why in self._left().items() if why}

    def _left(self) -> dict[str, str]:
        """The limits without a judgement, and why nothing can be held against them; '' where the step owes the reading."""
        left = [name for name in self._limits if name not in self.judged]
        return {name: self._unmeasured.get(name) or self.lacks(name) for name in left}

    def complete(self) -> None:
        """See that a step that went through gave all that is judged and saved. UsageError, StepFailed, StationError."""
        self._check_named()
        for name in [name for name, why in self._left().items() if not (why or name in self.left_out)]:
            missing = self._judge.missing(name)
            self._put(Reading(self._where, self._clock.at, name, judgement=missing))
        self._check_saved()

    def _check_named(self) -> None:
        """See that foreign code gave every reading that the plan names, with a value or without one: else the plan or the
        code misspells it. Unless the unit has failed already: then the code may have stopped there."""
        if not self._foreign:
            return
        named = dict.fromkeys((*self._limits, *self._saves))
        unclosed = [name for name in self._unclosed if name in named]
        if unclosed and not self.broken:
            raise UsageError(f"the stream '{unclosed[0]}' was not closed", advice="close it when all samples have come")
        missing = [name for name in named if name not in self._given]
        if missing and not self.broken:
            advice = suggest(missing[0], self._given - {"elapsed"}) or _RETURN_IT
            raise UsageError(f"the step gave no reading '{missing[0]}'", advice=advice)

    def _check_saved(self) -> None:
        for name, variable in self._saves.items():
            if variable not in self._saved and name not in self.left_out:
                if why := self._unmeasured.get(name):
                    raise StationError(f"{name}, which the plan saves as '{variable}', was not measured: {why}")
                raise StepFailed(f"the step gave no {name}, which the plan saves as '{variable}'")
