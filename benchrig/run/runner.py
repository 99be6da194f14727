"""One run of a plan: what comes before the first step and after the last one. Emits events, no more."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

import msgspec

from benchrig import collector
from benchrig.errors import BenchrigError, InternalError, StationError, WrongDevice
from benchrig.loop import outside
from benchrig.plan.conditions import part_of
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.bonds import Bond, lasting
from benchrig.radio.choosing import NARROWED, OF_PLAN
from benchrig.radio.device import DeviceSession, NoDevice
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection, of_device
from benchrig.radio.unit import Unit
from benchrig.record.events import AnyEvent, Noted, RunEnded, Where
from benchrig.run.clock import Clock
from benchrig.run.context import Surroundings
from benchrig.run.control import Control
from benchrig.run.ending import closed, internal
from benchrig.run.execution import PlanTime
from benchrig.run.head import RunSettings, may_lack, run_started
from benchrig.run.leaving import Reason, skipped, with_inner
from benchrig.run.outcome import Outcome
from benchrig.run.station import check_allowed, check_possible, check_wired
from benchrig.run.walk import Pace, Walk
from benchrig.steps.bench import Operator

_KEPT_BOND = "this run leaves a bond in the store of the station, which 'benchrig bonds' shows and forgets"

Emit = Callable[[AnyEvent], None]
Opener = Callable[[], Awaitable[Radio]]


@dataclass
class Runner:
    """One run of a plan. `open_radio` is called once, `emit` gets every event in order."""

    plan: Plan
    nodes: Sequence[StepPlan]
    settings: RunSettings
    open_radio: Opener
    operator: Operator
    emit: Emit
    # takes a number of a pairing, which `emit` is to leave out from then on
    keep_secret: Callable[[str], None] = lambda text: None
    # waited for before each step, and after the last one
    pace: Pace | None = None
    # asked after the last step for what is wrong with the unit beside all steps
    last_check: Callable[[], Awaitable[BenchrigError | None]] | None = None
    _outcome: Outcome = field(init=False)
    _control: Control = field(default_factory=Control)
    _devices: Mapping[str, DeviceSession] = field(default_factory=dict)
    # those of the station before the first step
    _bonds: Sequence[Bond] = ()

    # how a caution was acknowledged that nobody has to be asked for
    acknowledged_before: ClassVar[str] = "on the command line"
    _is_acknowledged: bool = False

    def __post_init__(self) -> None:
        self._outcome = Outcome(least=sum(len(step.limit_names) for step in every_step(self.nodes)))

    def interrupt(self) -> None:
        """Stop after the operation at hand, run the finally steps, clean up; called twice, leave these out too."""
        self._control.interrupt(busy=any(device.is_busy for device in self._devices.values()))

    def blame(self, error: BenchrigError) -> None:
        """Something outside the steps went wrong: it counts, before all else when it is a bug, and the steps go on."""
        if isinstance(error, InternalError):
            self._outcome.broken(error)
        else:
            self._outcome.fatal(error)
        self.emit(Noted(self._clock.at, error.message))

    @property
    def began(self) -> float:
        """When the run began, on the clock of its loop."""
        return self._clock.started

    async def run(self) -> RunEnded:
        """Never raises for anything that happens to the unit, the link or the station: that is the verdict."""
        try:
            radio = await self.begin()
        except BenchrigError as error:
            return self.end_before(error)
        try:
            await self._steps(radio)
        except BaseException:
            await closed(radio)
            raise
        return await self.end(radio)

    async def begin(self) -> Radio:
        """What comes before the first step. BenchrigError: there will be none, and `end_before` says so."""
        self._clock = Clock()
        self._head()
        try:
            radio = await self._control.guarded(math.inf, self._opened())
        except BenchrigError:
            raise
        except Exception as error:
            raise internal(error) from error
        for name, fact in radio.facts.items():
            self.emit(Noted(self._clock.at, f"{name}: {fact}"))
        if offset := self.settings.station.offset:
            self.emit(Noted(self._clock.at, f"levels: {offset:+g} dB for the fixture, from the station file"))
        self._bonds = stored(radio)
        return radio

    async def end(self, radio: Radio) -> RunEnded:
        """What comes after the last step."""
        try:
            self._tell_bonds(radio)
            for late in (await radio.aftermath(), await self._last_checked()):
                if isinstance(late, WrongDevice):
                    self._outcome.of_another(late)
                elif late is not None:
                    self._outcome.fatal(late)
            for sentence in radio.remarks():
                self.emit(Noted(self._clock.at, sentence))
        finally:
            if (trouble := await closed(radio)) is not None:
                self._not_closed(trouble)
        ended = self._outcome.ended(self._clock.at)
        self.emit(ended)
        return ended

    async def _last_checked(self) -> BenchrigError | None:
        if self.last_check is None:
            return None
        try:
            return await self.last_check()
        except BenchrigError as error:
            return error
        except Exception as error:
            return internal(error)

    def _tell_bonds(self, radio: Radio) -> None:
        """What the run leaves in the store of the station: also when it was interrupted."""
        for bond in [bond for bond in stored(radio) if bond not in self._bonds and radio.is_own(bond)]:
            self.emit(Noted(self._clock.at, f"{_KEPT_BOND}: {f'{bond.address} {bond.name}'.rstrip()}"))

    def _not_closed(self, error: BenchrigError) -> None:
        """A radio that does not close is a remark, but one that broke down has judged nothing truly."""
        self.emit(Noted(self._clock.at, f"closing the radio: {error.message}"))
        if isinstance(error, InternalError):
            self._outcome.broken(error)

    # --- before the first step

    def _head(self) -> None:
        self.emit(run_started(self.plan, self.nodes, self.settings))
        for key, device in self.settings.devices.items():
            said = f"of the devices that the plan selects{f' as {key}' if key else ''}, only {device} is meant"
            self.emit(Noted(self._clock.at, said, device=key))

    async def _opened(self) -> Radio:
        check_allowed(self._meant_steps(), self.settings.station)
        await self.acknowledge(self._meant_steps())
        radio = await self.open_radio()
        try:
            check_possible(self._meant_steps(), radio.cannot)
            check_wired(self._meant_steps(), radio.beside)
            for selection in [*self._selections().values()][:1]:
                await self.prepare(radio, selection)
        except BaseException:
            await closed(radio)
            raise
        return radio

    async def prepare(self, radio: Radio, selection: Selection) -> None:
        """Before a unit is looked for."""
        for sentence in await radio.prepare(selection):
            self.emit(Noted(self._clock.at, sentence))

    def _meant_steps(self) -> Iterator[StepPlan]:
        """Those that the given values do not leave out."""
        return part_of(self.nodes, self.plan.values, self.plan.kinds)

    def _selections(self) -> dict[str, Selection]:
        """Those of the plan, narrowed to the devices that this run is for."""
        only = self.settings.devices
        return {
            key: replace(device.selection(self.plan.values), also=of_device(only[key]) if key in only else None)
            for key, device in self.plan.devices.items()
        }

    async def acknowledge(self, steps: Iterable[StepPlan]) -> None:
        """The caution is shown before the first write: of a plan before anything is opened. OperatorError."""
        if self._is_acknowledged or not self.plan.caution or not any(step.kind.writes for step in steps):
            return
        if self.settings.acknowledged:
            by = self.acknowledged_before
        else:
            with outside():
                by = await self.operator.acknowledge(self.plan.caution)
        self._is_acknowledged = True
        self.emit(Noted(self._clock.at, f"caution acknowledged {by}: {self.plan.caution}"))

    def end_before(self, error: BenchrigError) -> RunEnded:
        """Nothing was tried: every step is skipped, the run names the reason."""
        why = Reason(None, "the run ended before its first step")
        for step, where in (each for node in self.nodes for each in with_inner(node, Where(node.id))):
            for event in skipped(step, where, why, self._clock.at):
                self.emit(event)
            self._outcome.begins(step)
            self._outcome.skipped(step, where, why)
        self._outcome.fatal(error)
        ended = msgspec.structs.replace(self._outcome.ended(self._clock.at), advice=error.advice)
        self.emit(ended)
        return ended

    # --- the steps

    async def _steps(self, radio: Radio) -> None:
        run = self.surroundings()
        self._devices = self._meant(radio)
        # the time of all steps together begins here: neither the operator's nor the radio's counts against the unit
        seconds = self.plan.deadline
        time = PlanTime(seconds, self._clock.now() + seconds) if seconds else None
        allowed = may_lack(self.plan, self.settings)
        with collector.set_aside():
            await Walk(run, self._devices, self._control, self._outcome, time, allowed, self.pace).through(self.nodes)
        self._control.close()

    def surroundings(self) -> Surroundings:
        """What the steps share."""
        return Surroundings(
            dict(self.plan.values),
            self.operator,
            self.settings.folder,
            self.plan.path.parent.resolve(),
            self._clock,
            self.emit,
            defined=self.plan.defined,
            kinds=self.plan.kinds,
            keep_secret=self.keep_secret,
            keep_samples=self.settings.keep_samples,
            plan=self.plan,
        )

    def _meant(self, radio: Radio) -> dict[str, DeviceSession]:
        """A session a device; where there are several also one, '', for the steps that are about none."""
        offset = self.settings.station.offset
        units = {
            key: Unit(radio, selection, NARROWED if selection.also else OF_PLAN, offset, label=key)
            for key, selection in self._selections().items()
        }
        for unit in units.values():
            unit.others = tuple(other for other in units.values() if other is not unit)
        sessions = {key: DeviceSession(unit) for key, unit in units.items()}
        return sessions if "" in sessions else sessions | {"": NoDevice(Unit(radio, Selection()))}


def stored(radio: Radio) -> list[Bond]:
    """The bonds that outlive the run; those of a simulated radio do not. A store that fails says so where it is used."""
    with contextlib.suppress(StationError):
        return radio.bonds.all() if radio.bonds is not None and lasting(radio.bonds) else []
    return []
