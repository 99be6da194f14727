"""A run whose steps become known as they are asked for."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import msgspec

from benchrig.api.awaited import Awaited
from benchrig.api.done import Done, failure, measured, restated
from benchrig.api.hiding import Hiding
from benchrig.api.opened import OpenStep
from benchrig.api.place import calling_place
from benchrig.api.reading import Request, StepReader
from benchrig.api.runner import GrowingRunner
from benchrig.api.walk import Natives
from benchrig.errors import BenchrigError, OperatorError, PlanError, StepFailed, UsageError
from benchrig.plan.model import PlanDevice
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.device import DeviceSession, NoDevice
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection
from benchrig.radio.unit import Unit
from benchrig.record.events import Added, AnyEvent, AttemptFailed, Closed, Noted, PlannedDevice, Reading, Where
from benchrig.run.control import Control
from benchrig.run.inside import Around
from benchrig.run.station import check_allowed, check_possible, check_wired
from benchrig.source.problem import Place
from benchrig.tasks import Tasks, undisturbed
from benchrig.values.quantity import Quantity

E = TypeVar("E", bound=BenchrigError)


@dataclass(eq=False)
class _Tolerance:
    """Of one run, in the tasks that begin inside it, until it is over."""

    run: GrowingRun
    is_over: bool = False


# Those that whoever asks is in: what another task does meanwhile is not tolerated.
_TOLERANCES: ContextVar[tuple[_Tolerance, ...]] = ContextVar("benchrig tolerances", default=())

# What ends the code from outside; a test framework has more exceptions that are no errors to Python.
_INTERRUPTS = (asyncio.CancelledError, KeyboardInterrupt, SystemExit, GeneratorExit)


@dataclass
class GrowingRun:
    """Carries out one step at a time; who asks meanwhile waits. `radio` is open."""

    runner: GrowingRunner
    radio: Radio
    reader: StepReader
    hiding: Hiding
    devices: dict[str, DeviceSession] = field(default_factory=dict)
    # what was asked for and is not awaited so far
    waiting: dict[Awaited[Any], None] = field(default_factory=dict)
    # devices that the record does not know yet
    _new: dict[str, PlannedDevice] = field(default_factory=dict)
    _readings: dict[str, dict[str, Reading]] = field(default_factory=dict)
    # the steps that are held open, outermost first
    _open: list[OpenStep] = field(default_factory=list)
    # what carries them out, by their ids
    _at_work: dict[str, asyncio.Task[Closed]] = field(default_factory=dict)
    _tasks: Tasks = field(default_factory=Tasks)
    _is_over: bool = False

    def __post_init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self.devices.setdefault("", NoDevice(Unit(self.radio, Selection())))
        self._walk = self.runner.walk(self.devices)

    # --- devices and links

    async def meet(self, key: str, unit: Unit, device: PlanDevice) -> None:
        """Another device that steps may be about."""
        with self._blamed():
            await self.runner.prepare(self.radio, unit.selection)
        self.reader.names[key] = device.names
        known = [session.unit for session in self.devices.values() if not isinstance(session, NoDevice)]
        self.devices[key], self._new[key] = DeviceSession(unit), PlannedDevice(device.written())
        for each in (*known, unit):
            each.others = tuple(other for other in (*known, unit) if other is not each)

    def lost_unseen(self, device: str) -> bool:
        """Whether its link was lost, and no step has met that so far."""
        session = self.devices[device]
        return not (session.is_up or session.was_ended or self._walk.misses_link(device))

    async def let_go(self, device: str, why: str) -> None:
        """End its link, whatever was going on."""
        session = self.devices[device]
        if not session.is_up:
            return
        self.note(f"ended the link: {why}", device)
        task = self._tasks.start(session.close())
        await undisturbed(task)
        if (error := task.exception()) is not None:
            self.note(f"ending the link: {error}", device)

    # --- steps

    @contextlib.contextmanager
    def tolerating(self) -> Iterator[None]:
        before, mine = _TOLERANCES.get(), _Tolerance(self)
        _TOLERANCES.set((*before, mine))
        try:
            yield
        finally:
            mine.is_over = True
            _TOLERANCES.set(before)

    @property
    def _tolerates(self) -> bool:
        return any(each.run is self and not each.is_over for each in _TOLERANCES.get())

    async def carry_out(
        self,
        verb: str,
        subject: object,
        keys: Mapping[str, object],
        device: str = "",
        *,
        wanted: frozenset[str] | None = frozenset(),
        place: Place | None = None,
    ) -> Done:
        """Do one step. Raises what it comes to when it does not pass, and PlanError for one that cannot be."""
        asked, tolerated = Request(verb, subject, keys, device, place or calling_place()), self._tolerates
        async with self._turn() as outer:
            step = await self._agreed(asked, outer, self.reader.step)
            natives, control = Natives(wanted), Control()
            task = self._begin(step, natives, control, outer, tolerated=tolerated)
            return self._done(step, await self._ended(task, control, step), natives)

    async def _agreed(
        self, asked: Request, outer: OpenStep | None, read: Callable[[Request, OpenStep | None], StepPlan]
    ) -> StepPlan:
        """The step, if it can be and may be."""
        with self._blamed():
            self.hiding.learn(asked.subject, asked.keys)
            step = read(asked, outer)
            await self._check(step)
        self.hiding.tells(step, asked.keys)
        self.hiding.events.foreign |= {each.id for each in every_step([step]) if each.kind.executes}
        return step

    @contextlib.asynccontextmanager
    async def _turn(self) -> AsyncIterator[OpenStep | None]:
        """While nobody else begins a step; the step that it is in, if any. UsageError where none can begin any more."""
        if asyncio.get_running_loop() is not self._loop:
            raise UsageError("the radio was opened in another event loop", advice="ask in that, or use benchrig.sync")
        while True:
            async with self._walk.turn:
                if self._is_over:
                    raise UsageError("the radio is closed", advice="ask for steps inside its 'async with'")
                closing = next((each for each in self._open if each.is_over.is_set()), None)
                if closing is None:
                    yield self._open[-1] if self._open else None
                    return
            await asyncio.wait([self._at_work[closing.plan.id]])

    @contextlib.contextmanager
    def _blamed(self) -> Iterator[None]:
        """What cannot even begin is a mistake of the whole run. It tells no secret that is wrong itself."""
        try:
            yield
        except BenchrigError as error:
            self.blamed(error)
            if (said := self.hiding.text(error.message)) == error.message:
                raise
            hidden = restated(error, said)
            if isinstance(hidden, PlanError):
                hidden.problems = ()  # each has the line of the secret
            raise hidden from None

    def blamed(self, error: E) -> E:
        """It counts for the run, though no step has failed with it."""
        self.runner.blame(error)
        error.is_told = True
        return error

    async def _check(self, step: StepPlan) -> None:
        check_allowed([step], self.runner.settings.station)
        check_possible([step], self.radio.cannot)
        check_wired([step], self.radio.beside)
        await self.runner.acknowledge(every_step([step]))

    def _begin(
        self, step: StepPlan, natives: Natives, control: Control, outer: OpenStep | None, *, tolerated: bool
    ) -> asyncio.Task[Closed]:
        devices, self._new, natives.step = self._new, {}, step.name
        node = msgspec.structs.replace(step.planned(), excused=tolerated)
        self.runner.emit(Added(self._walk.run.clock.at, node, devices))
        self._walk.go_on()
        self._walk.control = control
        around = outer.around if outer is not None and outer.around is not None else Around(self._walk.run)
        around = replace(around, watches=(*around.watches, natives), tolerated=tolerated)
        task = self._tasks.start(self._walk.carry_out(step, Where(step.id), around))
        if outer is not None and not tolerated:
            task.add_done_callback(lambda task: outer.ended.append(task.result()))
        return task

    async def _ended(self, task: asyncio.Task[Closed], control: Control, step: StepPlan) -> Closed:
        """The end of a step. Whoever is cancelled meanwhile interrupts it, and waits until it has ended in order."""
        try:
            await undisturbed(task, lambda: control.interrupt(busy=self.devices[step.device].is_busy))
        finally:
            control.close()
        return task.result()

    def _done(self, step: StepPlan, end: Closed, natives: Natives) -> Done:
        readings = self._readings.pop(step.id, {})
        if end.verdict != "pass":
            raise self._failure(step, end, readings)
        found = {name: measured(each, natives.values) for name, each in readings.items()}
        return Done(step.name, found, Quantity(end.elapsed, "s"))

    def _failure(self, step: StepPlan, end: Closed, readings: Mapping[str, Reading]) -> BenchrigError:
        errors = self._walk.errors
        if end.verdict != "skip":
            error = failure(step.called, end, errors.get(end.where), readings)
            return restated(error, self.hiding.text(error.message))
        root = errors.get(end.root) if end.root is not None else None
        said = self.hiding.text(f"{step.called} was left out: {end.message}")
        return restated(root, said) if root is not None else StepFailed(said)

    # --- steps that are held open

    async def hold_open(self, asked: Request, natives: Natives, on_loss: Callable[[], None]) -> OpenStep:
        """Begin a composite step that lasts until it is left. Raises what keeps it from beginning."""
        async with self._turn() as outer:
            step = await self._agreed(asked, outer, self.reader.open_step)
            held = self._walk.opening = OpenStep(step, self._walk.turn, self.devices[asked.device], on_loss)
            task = self._begin(step, natives, held.control, outer, tolerated=self._tolerates)
            self._at_work[step.id] = task
            self._open.append(held)
            task.add_done_callback(lambda _: self._close(held))
            try:
                await held.is_open.wait()
            except asyncio.CancelledError as error:
                held.broken_off = callers_error(error)
                held.is_over.set()
                await undisturbed(task)  # to cut it short would leave a subscription behind
                raise
        if task.done():
            self._done(step, task.result(), natives)
        return held

    def _close(self, held: OpenStep) -> None:
        self._open.remove(held)
        held.is_open.set()
        held.is_over.set()
        held.on_loss()

    async def leave(self, held: OpenStep, natives: Natives, error: BaseException | None = None) -> Done:
        """Its end, and that of all that is held open in it: in order, also when the caller is cancelled. `error` is what breaks
        it off. Raises what it comes to when it does not pass."""
        held.broken_off = None if error is None or isinstance(error, GeneratorExit) else callers_error(error)
        for each in self._open[self._open.index(held) :][::-1] if held in self._open else ():
            task = self._tasks.start(self._over(each))
            await undisturbed(task)
        return self._done(held.plan, self._at_work[held.plan.id].result(), natives)

    async def _over(self, held: OpenStep) -> None:
        """No step is at work in it any more, and none begins."""
        async with self._walk.turn:
            held.is_over.set()
        await asyncio.wait([self._at_work[held.plan.id]])

    # --- the end

    async def end(self, error: BaseException | None) -> None:
        """End all that is open, and say what the whole comes to. `error` is what ends it; without one, what a step comes to
        that was held open until now is raised, and PlanError for what nobody has awaited."""
        if error is not None:
            self._blame(error)
        held = self._open[::-1]
        task = self._tasks.start(self._closed(is_whole=error is None))
        await undisturbed(task)
        if (forgotten := task.result()) is not None:
            raise forgotten
        for each in held if error is None else ():
            self._done(each.plan, self._at_work[each.plan.id].result(), Natives())

    async def _forgotten(self, *, is_whole: bool) -> PlanError | None:
        """What nobody has awaited counts for a run that came to its end; another one may not have got that far."""
        await asyncio.sleep(0)  # tasks that were just made begin
        problems = [each.problem for each in self.waiting]
        for each in [*self.waiting]:
            each.close()
        if is_whole and problems:
            return self.blamed(PlanError(problems))
        for problem in problems:
            self.note(f"{problem.place}: {problem.message}")
        return None

    def _blame(self, error: BaseException) -> None:
        """What ends the run counts, also what was tolerated where it was raised."""
        blamed = callers_error(error)
        if blamed is not None:
            self.runner.blame(blamed)
        elif isinstance(error, BenchrigError):
            self.runner.count(error)

    async def _closed(self, *, is_whole: bool) -> PlanError | None:
        forgotten = await self._forgotten(is_whole=is_whole) if self.waiting else None
        self._is_over = True
        if self._walk.turn.locked():  # a task that nobody has waited for
            self._walk.control.interrupt(busy=any(device.is_busy for device in self.devices.values()))
        for held in self._open[::-1]:
            await self._over(held)
        async with self._walk.turn:
            pass  # its end is on record before the links are ended
        for device in self.devices:
            await self.let_go(device, "the run is over")
        await self.runner.end(self.radio)
        return forgotten

    # --- what is told

    def hear(self, event: AnyEvent) -> None:
        """Keeps the readings of the steps at work, of the attempt that counts."""
        match event:
            case Reading() if not event.partial:
                self._readings.setdefault(event.where.node, {})[event.name] = event
            case AttemptFailed():
                self._readings.pop(event.where.node, None)

    def note(self, text: str, device: str = "") -> None:
        self.runner.emit(Noted(self._walk.run.clock.at, text, device=device))


def callers_error(error: BaseException) -> BenchrigError | None:
    """What an error means that is not on record; None for one that is."""
    said = f"the Python code raised {type(error).__name__}" + (f": {error}" if str(error) else "")
    if isinstance(error, BenchrigError):
        return None if error.is_told else error
    if isinstance(error, AssertionError):
        return StepFailed(said)
    return OperatorError("interrupted") if isinstance(error, _INTERRUPTS) else UsageError(said)
