"""What the rounds of a repetition add up to: the readings of the steps in it over all rounds, nothing kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchrig.errors import UsageError
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.base import Bindable
from benchrig.steps.bench import Stream
from benchrig.steps.composite import CompositeBench, InnerReading, Watch
from benchrig.steps.sample import Sample
from benchrig.values.judging import kind_of
from benchrig.values.quantity import is_number
from benchrig.values.spread import spread


class OverRounds:
    """One reading of one step. `names` are those of it as a stream, by statistic those of its statistics."""

    def __init__(self, bench: CompositeBench, unit: str) -> None:
        self.streams: list[str] = []
        self.statistics: dict[str, str] = {}
        self.unit = unit
        # of this round; None while it has not come
        self.last: Any = None
        self.unmeasured = False
        self._bench = bench
        self._open: list[Stream] = []
        self.sample = Sample()
        self._without = 0

    def add(self, value: Any, unit: str, raw: bytes | None) -> None:
        first, self.last = self.last is None, value
        self._check_unit(unit)
        if not self._open:
            self._open = [self._bench.stream(name, unit) for name in self.streams]
        for stream in self._open:
            stream.add(value, raw)
        if not is_number(value):
            self._without += 1
        elif self.statistics:
            self.sample.add(value, first=first)

    def end_round(self) -> None:
        """No value of this round, which should have given one, comes any more."""
        self.sample.end_round(self.last, self.unit)

    def _check_unit(self, unit: str) -> None:
        if self.sample.count and unit != self.unit:
            raise UsageError(f"the unit changes from {self.unit or 'none'} to {unit or 'none'} between rounds")
        self.unit = unit

    def statistic(self, name: str) -> Any:
        """None without numbers, or where one is missing: of the others alone it would say too much."""
        return None if self._without or not self.sample.count else self.sample.statistic(name, self.unit)

    def unit_of(self, statistic: str) -> str:
        return spread(0, 0, self.unit)[1] if statistic == "spread" else self.unit

    def report(self) -> None:
        if not self._open and not self.unmeasured:
            self._open = [self._bench.stream(name, self.unit) for name in self.streams]
        for stream in self._open if not self.unmeasured else ():  # else not all that came is known
            stream.close()
        for name, statistic in self.statistics.items():
            value = self.statistic(statistic)
            lack = f"{counted(self._without, 'value')} of it had no number" if self._without else "no round gave one"
            why = "" if value is not None else lack
            evidence = None if value is None else self.sample.evidence(name, statistic, self.unit)
            self._bench.reading(name, value, self.unit_of(statistic), why=why, evidence=evidence)


class RoundReadings(Watch):
    """Of one repetition: what limits, `save` and `stop_when` name of the steps in it."""

    def __init__(
        self, bench: CompositeBench, reported: set[str], watched: set[str], limits: Mapping[str, Bindable] | None = None
    ) -> None:
        """`limits` with a confidence look at each round."""
        self._bench = bench
        self._over: dict[tuple[str, str], OverRounds] = {}
        self._found: dict[str, InnerReading] = {}
        self._began: set[str] = set()
        # the steps that conditions of the plan left out in this round
        self._excused: set[str] = set()
        self._left_out: dict[str, str] = {}
        # what is wrong with the plan: the step inside, which is told of it, is not to blame
        self._wrong: Misfit | UsageError | None = None
        for name in sorted(reported | watched):
            if (found := bench.inside.find(name)) is not None:
                self._found[name] = found
                self._follow(name, found, reported)
        for name, limit in (limits or {}).items():
            if name in self._found and getattr(limit, "confidence", None) is not None:
                self._over[self._found[name].step, self._found[name].reading].sample.limits[name] = limit

    def _follow(self, name: str, found: InnerReading, reported: set[str]) -> None:
        over = self._over.setdefault((found.step, found.reading), OverRounds(self._bench, found.unit))
        if found.statistic:
            over.statistics |= {name: found.statistic}
        elif name in reported:
            over.streams.append(name)

    # --- what the rounds bring

    def next_round(self) -> None:
        """Misfit, UsageError for a limit that does not apply to what came."""
        self._check()
        self._excused = set()
        for over in self._over.values():
            over.last = None

    def end_round(self) -> None:
        """Nothing of this round, in which something was carried out, comes any more."""
        for (step, _), over in self._over.items():
            if step not in self._excused:
                over.end_round()

    def wants(self, step: str, reading: str) -> bool:
        return (step, reading) in self._over

    def begins(self, step: str) -> None:
        self._began.add(step)

    def left_out(self, step: str, why: str) -> None:
        self._left_out[step] = why
        self._excused.add(step)

    def measured(self, step: str, reading: str, value: Any, unit: str, raw: bytes | None) -> None:
        over = self._over.get((step, reading))
        if over is None or self._wrong is not None:
            return
        try:
            over.add(value, unit, raw)
        except (Misfit, UsageError) as error:
            self._wrong = error

    def _check(self) -> None:
        if self._wrong is not None:
            raise self._wrong

    def unmeasured(self, step: str, reading: str, why: str) -> None:
        over = self._over.get((step, reading))
        if over is not None:
            over.unmeasured = True
            for name in (*over.streams, *over.statistics):
                self._bench.not_measured(name, why)

    # --- what is made of them

    def satisfy(self, limits: Mapping[str, Bindable], own: Mapping[str, tuple[Any, str]]) -> bool:
        """Whether these readings satisfy these limits now: of a step inside the last value of this round, if it came."""
        return bool(limits) and all(self._satisfies(name, limit, own) for name, limit in limits.items())

    def _satisfies(self, name: str, limit: Bindable, own: Mapping[str, tuple[Any, str]]) -> bool:
        value, unit = own[name] if name in own else self._now(self._found[name])
        return value is not None and bool(limit.bind(kind_of(value, unit), unit).passes(value))

    def _now(self, found: InnerReading) -> tuple[Any, str]:
        over = self._over[found.step, found.reading]
        if found.statistic:
            return over.statistic(found.statistic), over.unit_of(found.statistic)
        return over.last, over.unit

    def report(self) -> None:
        """Misfit, UsageError for a limit that does not apply to what came."""
        self._check()
        for (step, _), over in self._over.items():
            if step in self._left_out and step not in self._began:
                for name in (*over.streams, *over.statistics):
                    self._bench.leave_out(name, self._left_out[step])
            else:
                over.report()
