"""scan: listen for the unit, and judge what it advertises."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar, Literal

import msgspec

from benchrig.errors import DeviceNotFound
from benchrig.radio.scan import Sighting
from benchrig.radio.turns import Use
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.advertised import ADVERTISED, Watching, report_sighting
from benchrig.steps.attribute import Names, by_number, say_services
from benchrig.steps.base import NOTHING, Cap, ReadingType
from benchrig.steps.returning import RETURN, report_return
from benchrig.steps.waiting import REACHED, REACHED_AFTER, Waiting, see_it_through
from benchrig.values.limit import Limit
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    from benchrig.steps.bench import Bench


# An interval lies between two advertising events, and the first of them comes within one.
_EVENTS = 2
# What lies between two attempts at most, in seconds.
BETWEEN = 1.0


_SERVICES = ("services", "service_data")
READINGS: dict[str, ReadingType] = {
    "found_after": ReadingType("number", "s", "from the start of the scan to the first report of the unit"),
    "heard": ReadingType("boolean", "", "whether the unit was heard"),
    "count": ReadingType("number", "", "advertising events of the unit"),
    "interval": ReadingType("number", "s", "median gap between advertising events"),
    **ADVERTISED,
    **RETURN,
}


class Scan(Waiting, kw_only=True):
    """Listen for `for`, and on until the selected unit is heard, and advertises what `until` says, or `within` is over.
    Once a unit was found it is that one that is listened for, unless a `swap` of the unit is meant."""

    verb: ClassVar[str] = "scan"
    uses: ClassVar[Use] = Use.HEAR
    within_default: ClassVar[float] = 10.0
    needs: ClassVar[frozenset[Cap]] = NOTHING
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})

    scan: None
    for_: Duration = msgspec.field(name="for", default_factory=lambda: Duration.of(2))
    mode: Literal["active", "passive"] = "active"
    swap: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.expect, dict) and "services" in self.expect:
            self.expect = self.expect | {"services": by_number(self.expect["services"])}
        if isinstance(self.until, dict) and "services" in self.until:
            self.until = self.until | {"services": by_number(self.until["services"])}

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        listen = self.for_.seconds
        yield from self._time_misfits()
        yield from self._silence_misfits() if self.expects_silence else ()
        high = self._longest_interval()
        if high is not None and listen < _EVENTS * high:
            message = f"{self.for_} is too short to measure an interval of {high:g} s"
            yield Misfit(message, f"write for: {_EVENTS * high:g} s or more", ("for",))

    def _time_misfits(self) -> Iterable[Misfit]:
        if self.within is None:
            return
        listen, times = self.for_.seconds, self.attempts
        least = listen if times == 1 else (listen + BETWEEN) * times
        if self.within.seconds < least:
            often = "" if times == 1 else f", {times} times,"
            advice = f"write within: {least:g} s or more, or leave it out"
            yield Misfit(
                f"within {self.within} ends before the {self.for_} of for{often} are over", advice, ("within",)
            )

    def _silence_misfits(self) -> Iterable[Misfit]:
        if self.swap:
            yield Misfit("no step can have heard a swapped unit, so its silence proves nothing", path=("swap",))
        for name in [name for name in {**self.limits, **self.save} if name != "heard"]:
            key = "until" if name == REACHED else "expect" if name in self.expect else "save"
            yield Misfit(f"a unit that is silent has no {name}", "put it into another scan", (key, name))

    @property
    def expects_silence(self) -> bool:
        """Whether it is right when the unit is not heard."""
        limit = self.limits.get("heard")
        try:
            return isinstance(limit, Limit) and bool(limit.bind("boolean").passes(False))
        except Misfit:  # told where the limits are checked
            return False

    def _longest_interval(self) -> float | None:
        """The longest interval that passes; None where no limit says so."""
        limit = self.expect.get("interval")
        try:
            high = limit.bind("number", "s").high if isinstance(limit, Limit) else None
        except Misfit:  # told where the limits are checked
            return None
        return None if high is None else float(high)

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        for key, limits in (("expect", self.limits), ("until", self.until)):
            for name in _SERVICES:
                say_services(names, limits.get(name), (key, name))
        return {**READINGS, REACHED: REACHED_AFTER} if self.until else READINGS

    def in_one(self, types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
        return dict(ADVERTISED)

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else (self.for_.seconds + self.within_default) * self.attempts

    async def run(self, bench: Bench) -> None:
        if self.expects_silence:
            await self._listen_for_nothing(bench)
            return
        started, had = bench.now(), bench.time_left
        watching = Watching(bench.names, self.until) if self.until else None
        unit = await self._found(bench, watching)
        if bench.wanted("heard"):
            bench.reading("heard", unit is not None)
        if unit is None:
            return
        if bench.wanted("found_after"):
            bench.reading("found_after", round(unit.first_at - started, 6), "s")
        report_return(bench)
        report_sighting(bench, unit)
        if watching is not None:
            await self._report_reached(bench, watching, unit, started, had)

    async def _found(self, bench: Bench, watching: Watching | None) -> Sighting | None:
        """The unit; None for one that was heard before, where the plan asks whether it is heard."""
        try:
            return await bench.find(self.for_.seconds, active=self.mode == "active", swap=self.swap, lookout=watching)
        except DeviceNotFound:
            if not (bench.wanted("heard") and bench.device.is_known):
                raise
            await bench.check_radio()
            return None

    async def _listen_for_nothing(self, bench: Bench) -> None:
        unit, doubt = await bench.present(self.for_.seconds, active=self.mode == "active")
        if unit is None:
            await bench.check_radio()
        if doubt:
            bench.not_measured("heard", doubt)
        else:
            bench.reading("heard", unit is not None)
        if unit is not None:
            report_sighting(bench, unit)

    async def _report_reached(
        self, bench: Bench, watching: Watching, unit: Sighting, started: float, had: float
    ) -> None:
        at = watching.met_at(bench.device.unit)
        if at is not None:
            bench.reading(REACHED, round(at - started, 6), "s")
            return
        why = f"{watching.unmet(bench.device.unit)} after {bench.since(started):.3g} s, {counted(unit.count, 'report')}"
        await see_it_through(bench, self, had, why)
        bench.reading(REACHED, None, "s", why=why)
