"""The bench that steps work on: the radio, the link, the readings of the step at hand."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchrig.errors import (
    BenchrigError,
    LinkLost,
    MalformedValue,
    StationError,
    StepFailed,
    StepTimeout,
    UsageError,
)
from benchrig.plan.model import StepPlan
from benchrig.radio.choosing import NARROWED, OF_PLAN
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Ear, Report, Selection, Sighting
from benchrig.radio.table import Characteristic
from benchrig.radio.unit import LISTEN, SERIAL_NUMBER, Unit
from benchrig.record.model import AnyEvent, Noted, Reading, UnitSeen
from benchrig.run.clock import Clock
from benchrig.run.jsonable import MAX_VALUE, hex_text, jsonable
from benchrig.run.judge import Judge
from benchrig.run.loop import outside
from benchrig.run.stream import RunStream
from benchrig.source.problem import suggest
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import Step
from benchrig.steps.bench import Operator, Stream, Target
from benchrig.steps.lookup import look_up
from benchrig.values.base import flat
from benchrig.values.format import Format
from benchrig.values.judging import in_brackets
from benchrig.values.quantity import Quantity, exact, unit_named

# Less than the runner's grace, which ends the step.
UNSUBSCRIBE_WITHIN = 0.4
# What a step may take before it listens, in seconds.
_SHORT_BY = 0.1


class RunBench:
    """One bench for one run. The runner calls `begin` before each attempt and `finish` after it."""

    def __init__(
        self,
        radio: Radio,
        names: Names,
        selection: Selection,
        values: dict[str, Any],
        operator: Operator,
        emit: Callable[[AnyEvent], None],
        *,
        folder: Path,
        plan_folder: Path,
        clock: Clock,
        rssi_offset: float = 0.0,
    ) -> None:
        self.names, self.selection, self.operator = names, selection, operator
        self.folder, self.plan_folder = folder, plan_folder
        self.values = values
        self.attempt = 1
        self._radio = radio
        self._emit = emit
        self._rssi_offset = rssi_offset
        self._clock = clock
        self.now, self.since = clock.now, clock.since
        self._link: Link | None = None
        self._unit = Unit(
            radio, selection, NARROWED if selection.also else OF_PLAN, self.note, self._seen, self._offset
        )
        self._listeners: dict[int, list[Callable[[bytes], None]]] = {}
        self._deadline = math.inf
        self._step: Step | None = None
        self._number = 0
        self._judge = Judge({}, None, str)
        self._cleaning_up = False
        self._swapped = False
        self._readings: list[Reading] = []
        self._streams: list[RunStream] = []
        self._unmeasured: dict[str, str] = {}
        self._saved: set[str] = set()
        self._given: set[str] = set()
        self._closed_link = False

    # --- the runner's side

    def clear(self) -> None:
        """No step is at hand."""
        self._readings, self._streams, self._unmeasured, self._saved = [], [], {}, set()
        self._given = set()
        self._step = None

    def begin(self, plan: StepPlan, step: Step, attempt: int, deadline: float) -> None:
        """Get ready for one attempt of a step, with its deadline on the loop's clock."""
        self.clear()
        self._number, self._step = plan.number, step
        self._cleaning_up = plan.section == "finally"
        self.attempt, self._deadline = attempt, deadline
        self._judge = Judge(step.limits, step.readings(self.names) if step.limits else None, plan.limit_place)

    @property
    def readings(self) -> list[Reading]:
        """Those of the attempt so far."""
        return self._readings

    def finish(self) -> list[Reading]:
        """The readings of the attempt, streams with them."""
        for stream in self._streams:
            self._put(stream.reading())
            self._save(stream.name, stream.value, stream.unit)
        self._streams = []
        return self._readings

    def unmeasured(self) -> dict[str, str]:
        """The limits that nothing can be held against on this radio, and why."""
        if self._step is None:
            return {}
        lacking = {name: why for name in self._step.limits if (why := self.lacks(name))}
        return lacking | {name: why for name, why in self._unmeasured.items() if name in self._step.limits}

    def check_named(self) -> None:
        """See that a function gave every reading that the plan names, with a value or without one: else the plan or the
        function misspells it. UsageError, unless the unit has failed already: then the function may have stopped there."""
        assert self._step is not None
        named = dict.fromkeys((*self._step.limits, *self._step.save))
        if not self._given - {"elapsed"}:
            named.pop("value", None)  # it returned none, which is no value
        missing = [name for name in named if name not in self._given]
        broken = any(r.judgement is not None and not r.judgement.passed for r in self._readings)
        if self._step.verb == "call" and missing and not broken:
            advice = suggest(missing[0], self._given) or "return it; None says that the unit gave no value"
            raise UsageError(f"the step gave no reading '{missing[0]}'", advice=advice)

    def fail_unread(self) -> None:
        """A failed reading for every limit that the step gave no reading for."""
        assert self._step is not None
        judged = {reading.name for reading in self._readings if reading.judgement is not None}
        for name in self._step.limits.keys() - judged - self.unmeasured().keys():
            self._put(Reading(self._number, name, judgement=self._judge.missing(name), at=self._clock.at))

    def check_saved(self) -> None:
        """See that the step gave every value that the plan saves. StepFailed; StationError for what is not measured."""
        assert self._step is not None
        for name, variable in self._step.save.items():
            if variable not in self._saved:
                if why := self._unmeasured.get(name):
                    raise StationError(f"{name}, which the plan saves as '{variable}', was not measured: {why}")
                raise StepFailed(f"the step gave no {name}, which the plan saves as '{variable}'")

    def _put(self, reading: Reading) -> None:
        """On record at once: a run that dies in this step keeps what it had measured."""
        self._readings.append(reading)
        self._emit(reading)

    @property
    def link_is_up(self) -> bool:
        return self._link is not None and self._link.is_up

    @property
    def closed_link(self) -> bool:
        """Whether the last link was ended by a step, not lost."""
        return self._closed_link and not self.link_is_up

    @property
    def is_busy(self) -> bool:
        return self._link is not None and self._link.is_up and self._link.is_busy

    async def trouble(self) -> BenchrigError | None:
        """What the radio knows to be behind a lost link or a missing answer; None when it knows nothing."""
        return await self._radio.trouble()

    async def tidy(self) -> None:
        """Let the radio let go of what went wrong; bounded."""
        await self._radio.tidy()

    # --- the steps' side

    @property
    def given(self) -> Mapping[str, Any]:
        return self.values

    @property
    def unit_is_known(self) -> bool:
        return self._unit.sighting is not None

    @property
    def link(self) -> Link:
        if self._link is None:
            raise LinkLost("there is no connection")
        return self._link

    @property
    def lost_reason(self) -> str:
        """Why the link is gone."""
        return self._link.lost_reason if self._link is not None else ""

    @property
    def time_left(self) -> float:
        return max(0.001, self._deadline - self.now())

    def outside(self) -> AbstractContextManager[None]:
        return outside()

    async def pause(self, seconds: float) -> None:
        if self._link is None or not self._link.is_up:
            await asyncio.sleep(seconds)
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._link.lost.wait()
                raise LinkLost(f"the link was lost ({self._link.lost_reason})")

    async def until(self, event: asyncio.Event | asyncio.Future[Any], seconds: float) -> bool:
        waiter: asyncio.Future[Any] = asyncio.ensure_future(event.wait()) if isinstance(event, asyncio.Event) else event
        lost = asyncio.ensure_future(self.link.lost.wait())
        try:
            await asyncio.wait({waiter, lost}, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        finally:
            lost.cancel()
            if waiter is not event and not waiter.done():
                waiter.cancel()
        if waiter.done() and not waiter.cancelled():
            return True
        if not self.link.is_up:
            raise LinkLost(f"the link was lost ({self.link.lost_reason})")
        return False

    def lacks(self, name: str) -> str:
        assert self._step is not None
        return self._radio.unjudged(self._step, name, self.names)

    def not_measured(self, name: str, why: str) -> None:
        self._unmeasured[name] = why

    def wanted(self, name: str) -> bool:
        assert self._step is not None
        return name in self._step.limits or name in self._step.save

    def reading(
        self,
        name: str,
        value: Any,
        unit: str = "",
        raw: bytes | None = None,
        *,
        why: str = "",
        window: tuple[float, float, int] | None = None,
    ) -> None:
        self._give(name)
        judgement = None if self.lacks(name) or name in self._unmeasured else self._judge.judge(name, value, unit, why)
        if name == "att_error" and judgement is None and not self.wanted(name):
            return
        octets = None if raw is None else hex_text(raw)
        about = self._clock.window(*window) if window else None
        self._put(Reading(self._number, name, jsonable(value), unit, octets, None, judgement, about, self._clock.at))
        self._save(name, value, unit)

    def _give(self, name: str) -> None:
        """A limit is held against one reading: of two nobody could say which one counts. UsageError for a second one."""
        if name in self._given:
            raise UsageError(f"the step gave the reading '{name}' twice", advice="give each reading a name of its own")
        self._given.add(name)

    def value(self, data: bytes, target: Target, own: Format | None = None) -> None:
        form = own or target.format
        if form is None:
            self.reading("value", data, raw=data)
            return
        try:
            value = form.decode(data)
        except MalformedValue as error:
            self._put(Reading(self._number, "value", None, raw=hex_text(data), at=self._clock.at))
            raise MalformedValue(f"{target.name}: {error.message}{in_brackets(data)}") from error
        if isinstance(value, dict):
            units = form.fields()
            for field, item in flat(value).items():
                self.reading(f"value.{field}", item, units.get(field, ""), data)
        else:
            self.reading("value", value, form.unit, data)
        if target.found.attribute.uuid == SERIAL_NUMBER:
            self._unit.know_serial(data)
        if target.found.attribute.uuid == SERIAL_NUMBER and isinstance(value, str):
            self._emit(UnitSeen(self._clock.at, serial=value[:MAX_VALUE], step=self._number))

    def stream(self, name: str, unit: str = "") -> Stream:
        self._give(name)
        stream = RunStream(self._number, name, unit, self._judge.running(name, unit), self._clock, self._emit)
        self._streams.append(stream)
        return stream

    def note(self, text: str) -> None:
        self._emit(Noted(self._clock.at, text, self._number or None))

    def target(self, name: AttributeName, needs: tuple[str, ...] = ()) -> Target:
        return look_up(self.link.table, self.names, name, needs)

    @contextlib.asynccontextmanager
    async def scanning(self, *, active: bool = True) -> AsyncIterator[Ear]:
        async with self._unit.listening(active=active) as ear:
            yield ear

    async def find(self, listen: float, *, active: bool = True, swap: bool = False) -> Sighting:
        if swap and self.link_is_up:
            raise UsageError(
                "the unit is still connected: what is read after a swap would be read from it",
                advice="add - disconnect: before the scan",
            )
        left = self.time_left
        if listen - left > _SHORT_BY and not self._cleaning_up:
            # what is heard in less time is no measurement: a count would be too low, a second device not heard
            await asyncio.sleep(left)
            raise StepTimeout(f"{left:.3g} s were left of the {listen:g} s to listen for")
        if swap:
            self._unit.let_go()
        self._swapped = swap
        return await self._unit.find(listen, left, active=active)

    def is_unit(self, sighting: Sighting) -> bool:
        return self._unit.identity is not None and self._unit.identity.is_same(sighting)

    def may_be_unit(self, sighting: Sighting) -> bool:
        return self._unit.may_be(sighting)

    def wrote(self, target: Target, data: bytes) -> None:
        if target.found.attribute.uuid == SERIAL_NUMBER:
            self._unit.know_serial(data)

    def _seen(self, sighting: Sighting) -> None:
        self._emit(
            UnitSeen(
                self._clock.at,
                sighting.address,
                sighting.address_type,
                sighting.name,
                step=self._number,
                swapped=self._swapped,
            )
        )
        self._swapped = False

    async def connect(self, within: float, *, fresh: bool = False) -> float:
        if self.link_is_up and self._cleaning_up:
            # finally steps cannot know how far the run came
            self.note("the unit is connected already")
            return self.now()
        if self.link_is_up:
            raise UsageError("the unit is connected already", advice="disconnect first")
        deadline = self.now() + within
        known = self.unit_is_known
        if not known:
            await self._unit.find(LISTEN, within)
        started = self.now()
        self._listeners.clear()
        self._closed_link = False
        again = known and self.attempt > 1
        self._link = await self._unit.connect(max(0.05, deadline - started), fresh=fresh, again=again)
        return started

    async def disconnect(self) -> None:
        if not self.link.is_up:
            raise LinkLost(f"the link was lost before it was ended ({self.link.lost_reason})")
        await self.link.disconnect(self.time_left)
        self._closed_link = True

    async def subscribe(self, characteristic: Characteristic, listener: Callable[[bytes], None], doing: str) -> None:
        listeners = self._listeners.setdefault(characteristic.handle, [])
        listeners.append(listener)
        if len(listeners) > 1:
            return

        def dispatch(data: bytes) -> None:
            for each in listeners:
                each(data)

        try:
            await self.link.subscribe(characteristic, dispatch, doing, self.time_left)
        except BaseException:
            listeners.remove(listener)
            raise

    async def unsubscribe(self, characteristic: Characteristic, listener: Callable[[bytes], None]) -> None:
        listeners = self._listeners.get(characteristic.handle, [])
        if listener in listeners:
            listeners.remove(listener)
        if not listeners and self.link_is_up:
            # also after the deadline: what stays subscribed disturbs the steps after it
            await self.link.unsubscribe(characteristic, "unsubscribe", max(self.time_left, UNSUBSCRIBE_WITHIN))

    # --- inside

    def _save(self, name: str, value: Any, unit: str) -> None:
        assert self._step is not None
        variable = self._step.save.get(name)
        if variable is None or value is None:
            return
        if unit and isinstance(value, (int, float)):
            value = Quantity(exact(value), unit_named(unit))
        self.values[variable] = value
        self._saved.add(variable)

    def _offset(self, report: Report) -> Report:
        if not self._rssi_offset or report.rssi is None:
            return report
        return replace(report, rssi=report.rssi + self._rssi_offset)
