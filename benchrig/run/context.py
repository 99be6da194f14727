"""One attempt of one step: what its action may touch. Made for the attempt and thrown away after it, so that nothing has to
be reset and two can live side by side."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from msgspec.structs import replace

from benchrig.errors import LinkLost, MalformedValue, StepTimeout, UsageError
from benchrig.loop import outside
from benchrig.plan.inner import readings_of
from benchrig.radio.proof import SERIAL_NUMBER
from benchrig.radio.unit import LISTEN, Witness
from benchrig.record.events import AnyEvent, DeviceSeen, Noted, Where
from benchrig.run.clock import Clock
from benchrig.run.judge import Judge
from benchrig.run.kept_plan import keep_plan
from benchrig.run.readings import Readings, Told
from benchrig.steps.lookup import look_up
from benchrig.tasks import first_of
from benchrig.values.base import flat
from benchrig.values.catalogue import long_uuid
from benchrig.values.jsonable import MAX_VALUE
from benchrig.values.judging import in_brackets

if TYPE_CHECKING:
    from benchrig.plan.conditions import Kinds
    from benchrig.plan.model import Plan
    from benchrig.plan.tree import StepPlan
    from benchrig.radio.absence import Presence
    from benchrig.radio.beside import Beside
    from benchrig.radio.device import DeviceSession
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Sighting
    from benchrig.radio.table import Characteristic
    from benchrig.steps.attribute import AttributeName
    from benchrig.steps.base import Step
    from benchrig.steps.bench import Lookout, Operator, Target, WrittenStep
    from benchrig.steps.composite import Watch
    from benchrig.values.format import Format

# What a device tells of itself, and where that is on record.
_TOLD = {
    SERIAL_NUMBER: "serial",
    long_uuid(0x2A26): "firmware",
    long_uuid(0x2A27): "hardware",
}
# What a step may take before it listens, in seconds.
_SHORT_BY = 0.1


@dataclass
class Before:
    """The step that ended last, one with steps in it after these: when it began. Before the first step that is long ago."""

    began: float = -math.inf


class Owing(NamedTuple):
    """The execution that should have given a value, and the one that kept it from that: itself, or what it was left out for."""

    giver: Where
    root: Where


@dataclass(frozen=True)
class Surroundings:
    """What the steps of a run share."""

    values: dict[str, Any]
    operator: Operator
    folder: Path
    plan_folder: Path
    clock: Clock
    emit: Callable[[AnyEvent], None]
    # by name, who should have given a value last
    owed: dict[str, Owing] = field(default_factory=dict)
    # the names that the plan itself gives a value
    defined: AbstractSet[str] = frozenset()
    # what the values are that conditions name, where that is known
    kinds: Mapping[str, Kinds] = field(default_factory=dict)
    before: Before = field(default_factory=Before)
    # takes a number of a pairing, which is in nothing that the run leaves
    keep_secret: Callable[[str], None] = lambda text: None
    # how many samples of a stream are kept, where its step does not say it
    keep_samples: int = 0
    # the plan that is run; None for what has none
    plan: Plan | None = None

    def left_out(self, plan: StepPlan, where: Where) -> None:
        """A condition of the plan left the step out: what an earlier step saved stays, but not what this one saved in an
        earlier round."""
        for name in plan.saves:
            owing = self.owed.get(name)
            if owing is None or owing.giver.node == where.node:
                self.values.pop(name, None)
                self.owed[name] = Owing(where, where)

    def forget(self, plan: StepPlan, where: Where, root: Where | None = None) -> None:
        """What the step saves is no longer what an earlier one saved, also when it fails: nothing is held against that."""
        for name in plan.saves:
            self.values.pop(name, None)
            self.owed[name] = Owing(where, root or where)

    def kept_from_giving(self, plan: StepPlan, where: Where, root: Where) -> None:
        """A step in this one, or before it, is why it has not given what it saves."""
        for name in set(plan.saves) - self.values.keys():
            self.owed[name] = Owing(where, root)


class StepContext(Witness):
    """The bench (steps/bench.py) of one attempt, on one device, until a deadline on the loop's clock. Misfit when the
    readings of the step cannot be known."""

    outside = staticmethod(outside)

    def __init__(
        self,
        run: Surroundings,
        device: DeviceSession,
        plan: StepPlan,
        step: Step,
        where: Where,
        deadline: float,
        watches: Sequence[Watch] = (),
        lets_go: bool = False,
    ) -> None:
        self.names, self.operator = plan.names, run.operator
        self.given: Mapping[str, Any] = run.values
        self.folder, self.plan_folder = run.folder, run.plan_folder
        self.now, self.since = run.clock.now, run.clock.since
        self.device, self.attempt = device, where.attempt
        self.before, self.keep_secret = run.before.began, run.keep_secret
        self._where, self._deadline, self._key = where, deadline, plan.device
        self._clock, self._emit = run.clock, run.emit
        self._cleans_up = plan.section == "finally"
        self._plan, self._swapped = run.plan, False
        self.acted_at: float | None = None
        self.may_lose = step.loses or lets_go
        limits = step.limits
        judge = Judge(limits, readings_of(plan, step) if limits else None, plan.limit_place)
        told = Told(plan.name, watches) if watches else None
        readings = self.readings = Readings(
            where, step, judge, run.clock, run.emit, run.values, self._lacking(step), told,
            run.keep_samples if step.keep_samples is None else step.keep_samples,
        )  # fmt: skip
        self.reading, self.stream, self.wanted = readings.give, readings.stream, readings.wanted
        self.lacks, self.not_measured = readings.lacks, readings.not_measured

    def _lacking(self, step: Step) -> Callable[[str], str]:
        radio, names = self.device.radio, self.names  # not the context: a circle would wait for the collector
        return lambda name: radio.unjudged(step, name, names)

    # --- time

    @property
    def time_left(self) -> float:
        return max(0.001, self._deadline - self.now())

    def acts(self) -> None:
        self.acted_at = self.now()

    async def pause(self, seconds: float) -> None:
        if not self.device.is_up:
            await asyncio.sleep(seconds)
            return
        lost = self.device.link.lost
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await lost.wait()
                raise self._link_lost()

    async def until(self, event: asyncio.Event, seconds: float) -> bool:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await first_of(event.wait(), self.link.lost.wait())
        if not event.is_set() and not self.device.is_up:
            raise self._link_lost()
        return event.is_set()

    def _link_lost(self) -> LinkLost:
        return LinkLost(f"the link was lost ({self.device.lost_reason})")

    # --- what is said

    def note(self, text: str, sent: bytes | None = None) -> None:
        self._emit(Noted(self._clock.at, text, self._where, self._key, None if sent is None else sent.hex().upper()))

    def seen(self, sighting: Sighting) -> None:
        swapped, self._swapped = self._swapped, False
        said = (sighting.address, sighting.address_type, sighting.name)
        self._emit(DeviceSeen(self._clock.at, *said, where=self._where, swapped=swapped, device=self._key))

    def value(self, data: bytes, target: Target, own: Format | None = None) -> None:
        form = own or target.format
        if form is None:
            self.reading("value", data, raw=data)
            return
        try:
            value = form.decode(data)
        except MalformedValue as error:
            self.readings.malformed(data)
            raise MalformedValue(f"{target.name}: {error.message}{in_brackets(data)}") from error
        if isinstance(value, dict):
            units = form.fields()
            for field, item in flat(value).items():
                self.reading(f"value.{field}", item, units.get(field, ""), data)
        else:
            self.reading("value", value, form.unit, data)
        self.device.learn(target.found.attribute, data)
        told = _TOLD.get(target.found.attribute.uuid)
        if told is not None and isinstance(value, str):
            seen = DeviceSeen(self._clock.at, where=self._where, device=self._key)
            self._emit(replace(seen, **{told: value[:MAX_VALUE]}))

    def save_plan(self, name: str, title: str, steps: Sequence[WrittenStep]) -> str:
        assert self._plan is not None
        return keep_plan(self._plan, self.device.unit, self.names, self.folder, name, title, steps)

    # --- the device

    @property
    def link(self) -> Link:
        return self.device.link

    @property
    def beside(self) -> Beside:
        return self.device.beside

    def target(self, name: AttributeName, needs: tuple[str, ...] = ()) -> Target:
        return look_up(self.link.table, self.names, name, needs)

    def listening(
        self, target: Target, hear: Callable[[bytes], None], doing: str, indicate: bool | None = None
    ) -> AbstractAsyncContextManager[None]:
        characteristic = cast("Characteristic", target.found.attribute)
        return self.device.listening(characteristic, hear, doing, lambda: self.time_left, indicate)

    async def find(
        self,
        listen: float,
        *,
        active: bool = True,
        swap: bool = False,
        to_connect: bool = False,
        lookout: Lookout | None = None,
    ) -> Sighting:
        if swap and self.device.is_up:
            raise UsageError(
                "the unit is still connected: what is read after a swap would be read from it",
                advice="add - disconnect: before the scan",
            )
        left = await self._left_to_listen(listen)
        if swap:
            self.device.unit.let_go()
        self._swapped = swap
        looks = (None, None) if lookout is None else (lookout.hear, lookout.is_enough)
        return await self.device.unit.find(
            listen, left, active=active, also=looks[0], until=looks[1], to_connect=to_connect, witness=self
        )

    async def present(self, listen: float, *, active: bool = True) -> Presence:
        await self._left_to_listen(listen)
        return await self.device.unit.present(listen, active=active, witness=self)

    async def _left_to_listen(self, listen: float) -> float:
        left = self.time_left
        if listen - left > _SHORT_BY and not self._cleans_up:
            # what is heard in less time is no measurement: a count would be too low, a second device not heard
            await asyncio.sleep(left)
            raise StepTimeout(f"{left:.3g} s were left of the {listen:g} s to listen for")
        return left

    async def connect(
        self, within: float, *, fresh: bool = False, again: bool = False, stranger: bool = False
    ) -> float:
        if self.device.is_up and self._cleans_up:
            # finally steps cannot know how far the run came
            self.note("the unit is connected already")
            return self.now()
        if self.device.is_up:
            raise UsageError("the unit is connected already", advice="disconnect first")
        deadline = self.now() + within
        known = self.device.is_known
        if not known:
            await self.device.unit.find(LISTEN, within, witness=self)
        started = self.now()
        again = known and (again or self.attempt > 1)
        left = max(0.05, deadline - started)
        await self.device.connect(left, fresh=fresh, again=again, stranger=stranger, witness=self)
        return started

    async def check_radio(self) -> None:
        await self.device.radio.tidy()
        if (error := await self.device.radio.trouble()) is not None:
            raise error

    async def disconnect(self) -> None:
        await self.device.disconnect(self.time_left)
