"""The way of a unit through its slot: from its label to its word."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError, InternalError, OperatorError
from benchrig.launch import Finished, PreparedRun, RunOptions, prepared
from benchrig.line import telling
from benchrig.line.approving import Wanted
from benchrig.line.barcode import Match
from benchrig.line.doubled import LastCheck, attempts_of
from benchrig.line.events import CautionRead, RunBegan, UnitBegan
from benchrig.line.judging import Ending, ending, on_disk
from benchrig.line.operator import LineOperator
from benchrig.line.proof import Elsewhere, Expected, NotProven, Outcome, WrongLabel
from benchrig.line.slot import Slot
from benchrig.line.work import Work, apart
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.radio import Radio
from benchrig.record.events import AnyEvent, Closed, Opened
from benchrig.record.line_part import LinePart
from benchrig.run.walk import Pace
from benchrig.station.station import Station
from benchrig.steps.base import Cap
from benchrig.text.escape import plain

_ASK = "ask"
_INTERRUPTED = "the line was ended before the unit was judged"


@dataclass
class Passage:
    """Of one unit. `nodes` are the steps that are meant, all without; `plan` was loaded for it, and is approved as
    `wanted`."""

    work: Work
    slot: Slot
    plan: Plan
    wanted: Wanted
    nodes: Sequence[StepPlan] | None = None
    finished: Finished | None = None
    # what the file says changes for the units after this one
    station: Station = field(init=False)
    interrupted: bool = False
    # called when it is known which unit is in the slot: others may have waited for that
    proved: Callable[[], None] = lambda: None
    notes: list[str] = field(default_factory=list)
    _is_over: bool = False
    _step: StepPlan | None = None
    _is_gone: bool = False

    def __post_init__(self) -> None:
        self.station = self.work.station

    @property
    def match(self) -> Match:
        assert self.slot.match is not None
        return self.slot.match

    def begin(self) -> None:
        """On record before anything is done. StationError: nothing was."""
        slot, match, allowed, memory = self.slot, self.match, self.slot.allowed, self.work.memory
        memory.note(
            UnitBegan(
                at=memory.now(),
                key=slot.key,
                unit=match.unit,
                slot=slot.name,
                product=match.product,
                barcode=self.work.hidden.covered(match).text,
                serial=match.serial,
                purpose=allowed.purpose,
                reference=match.reference,
                first=allowed.first,
                again=allowed.again,
            )
        )

    def interrupt(self) -> None:
        """End it in order: a run with its finally steps, all else at once. A run that is over keeps its verdict."""
        self.interrupted = True
        if self.slot.run is not None:
            self.slot.run.interrupt()
        elif self.slot.task is not None and not self._is_over:
            self.slot.task.cancel()

    async def ending(self) -> Ending:
        """What became of the unit. Raises nothing but what is a bug of benchrig, as an InternalError."""
        try:
            return await self._tested()
        except asyncio.CancelledError:
            if not self.interrupted:
                raise
            _forgive()
            return Ending.stopped(_INTERRUPTED, "operator")
        except InternalError:
            raise
        except BenchrigError as error:
            return Ending.failed(error)

    async def _tested(self) -> Ending:
        operator = self._operator()
        await self._cautioned(operator)
        await self._put_in()
        blank = self.station.products[self.match.product].blank
        expected = Expected.of(self.match.text, self.match.values, self.plan.selection(), blank)
        outcome = await self.work.prover.prove(self.slot.name, expected)
        if (stopped := self._not_tested(outcome)) is not None:
            return stopped
        self._is("waiting")
        self.proved()
        async with contextlib.AsyncExitStack() as place:
            await place.enter_async_context(self.work.radios.link(self.slot.name))
            self._is("running")
            self.finished = finished = await self._run(outcome, expected, operator, place)
        return ending(finished, await apart(lambda: on_disk(finished)), outcome, expected)

    # --- before the run

    def _operator(self) -> LineOperator:
        return LineOperator(
            self.work.questions, self.slot.name, self._within, self._read_by, self._note_read, self._told,
            unit=self.match.serial or self.match.unit, scan=self.slot.kind == "scan",
        )  # fmt: skip

    async def _cautioned(self, operator: LineOperator) -> None:
        """Before anything is held that other slots wait for."""
        nodes = self.plan.nodes if self.nodes is None else self.nodes
        if self.plan.caution and any(step.kind.writes for step in every_step(nodes)):
            await operator.acknowledge(self.plan.caution)

    async def _put_in(self) -> None:
        """In a rehearsal the unit of the label comes into the slot."""
        if self.work.bench is None:
            return
        if problem := await self.work.bench.put(self.slot.name, self.match.values):
            raise OperatorError(f"the simulated unit cannot be put into the slot: {problem}")

    def _read_by(self, caution: str) -> str:
        state = self.work.memory.state
        if (state.person, self.plan.hash) in state.cautions:
            return f"by {state.person} in this shift"
        return self._note_read(caution) if self.work.options.acknowledge else ""

    def _note_read(self, caution: str) -> str:
        memory = self.work.memory
        person = memory.state.person
        memory.note(CautionRead(at=memory.now(), person=person, plan_hash=self.plan.hash, text=plain(caution, 1000)))
        return f"by {person}"

    def _told(self, text: str) -> None:
        self.slot.shown.says = plain(text)
        self.work.changed()

    def _within(self) -> float:
        """The seconds that the step at work has for a question."""
        step = self._step.step if self._step is not None else None
        return step.deadline if step is not None else self.work.options.answer_within

    def _not_tested(self, outcome: Outcome) -> Ending | None:
        """None where the plan is to be run. A unit that was judged under its own label is in the slot still: no other one
        gets its readings."""
        if isinstance(outcome, Elsewhere):
            why = f"the units or their labels are swapped: this one is in slot {outcome.slot}"
            do = "put the units into their own slots, and scan them again; the same again: put both aside with their labels"
            return Ending.stopped(why, "operator", do, outcome.words)
        if isinstance(outcome, NotProven):
            return Ending.stopped(telling.without_levels(outcome.words), "station", outcome.do, outcome.words)
        known = isinstance(outcome, WrongLabel) and outcome.serial
        if known and self.work.memory.state.known(self.match.product, known) is not None:
            why = f"slot {self.slot.name} holds {known}, which was tested before"
            return Ending.stopped(why, "operator", f"put {self.match.unit} in, and scan its label again", outcome.words)
        return None

    # --- the run

    async def _run(
        self, outcome: Outcome, expected: Expected, operator: LineOperator, place: contextlib.AsyncExitStack
    ) -> Finished:
        """`place` is the one among the links of the radio: it is free before the reports are made."""
        work, name = self.work, self.slot.name
        bound = work.prover.binding(name, outcome, expected)
        check = self._last_check(outcome, expected)
        options = self._options(outcome, bound.device, bound.without, check)
        with (
            work.radios.turn(name) as connecting,
            work.questions.turn(name) as asking,
            prepared(options, operator, [self._follow], _pace(connecting, asking), deliver=False) as run,
        ):
            self._note_run(run, outcome)
            self.slot.run, self.slot.of = run, len(options.nodes)
            try:
                await run.runner.run()
            finally:
                self.slot.run, self._is_over = None, True
                work.prover.ended(name)  # nobody has its link any more
            await place.aclose()
            self.notes += check.notes
            async with work.reporting:
                return await apart(run.reported)

    def _options(
        self, outcome: Outcome, device: tuple[str, ...], without: frozenset[str], check: LastCheck
    ) -> RunOptions:
        work, name = self.work, self.slot.name
        return RunOptions(
            plan=self.plan,
            nodes=self.plan.nodes if self.nodes is None else self.nodes,
            station=self.station.at_slot(name),
            radio=work.radio(name),
            results=work.results,
            seed=work.options.seed + work.tests,
            real_time=work.options.real_time,
            reports=work.options.reports,
            device=device,
            history=work.options.history,
            line=self._part(outcome),
            opener=lambda: self._lent(without),
            last_check=check,
        )

    async def _lent(self, without: frozenset[str]) -> Radio:
        """What was wrong with it when the line began is over."""
        radio = await self.work.radios.lend(self.slot.name, without=without)
        self.work.notes.pop(f"radio {self.work.radios.name(self.slot.name)}", None)
        return radio

    def _part(self, outcome: Outcome) -> LinePart:
        state, allowed, match = self.work.memory.state, self.slot.allowed, self.match
        return LinePart(
            shift=state.shift,
            person=state.person,
            product=match.product,
            slot=self.slot.name,
            proof=outcome.words,
            purpose=allowed.purpose,
            reference=match.reference,
            first=allowed.first,
            again=allowed.again,
        )

    def _last_check(self, outcome: Outcome, expected: Expected) -> LastCheck:
        work, product = self.work, self.station.products[self.match.product]
        return LastCheck(
            outcome,
            expected,
            lambda: work.memory.units,
            history=work.history,
            addresses=product.addresses,
            purpose=self.slot.allowed.purpose,
            attempts=attempts_of(self.plan),
            after=self.slot.allowed.after,
        )

    def _note_run(self, run: PreparedRun, outcome: Outcome) -> None:
        memory = self.work.memory
        memory.note(
            RunBegan(
                at=memory.now(),
                key=self.slot.key,
                folder=str(run.runner.settings.folder),
                plan=self.wanted.files.plan,
                plan_hash=self.wanted.sha256,
                limits_hash=self.wanted.limits_sha256,
                proof=outcome.words,
            )
        )

    # --- what is shown meanwhile

    def _is(self, state: str) -> None:
        self.slot.state = state  # type: ignore[assignment]
        self.work.changed()

    def _follow(self, event: AnyEvent) -> None:
        """Steps of the plan itself, not those in them, are counted."""
        if isinstance(event, Opened):
            self._step = next((step for step in self.plan.steps if step.id == event.where.node), None)
            name = event.name or (self._step.name if self._step is not None else "")
            self.slot.step = f"the unit is gone: {name}" if self._is_gone else name
        elif isinstance(event, Closed):
            self._closed(event)
        else:
            return
        self.work.changed()

    def _closed(self, event: Closed) -> None:
        """A unit whose link is lost is gone until a step has a link with it again."""
        step = next((step for step in self.plan.steps if step.id == event.where.node), None)
        if event.cause == "link":
            self._is_gone = True
        elif event.verdict == "pass" and step is not None and Cap.LINK in step.kind.gives:
            self._is_gone = False
        if "." not in event.where.node:
            self.slot.done += 1


def _pace(connecting: Pace, asking: Callable[[bool], Awaitable[None]]) -> Pace:
    """What a run waits for before a step is no time of the step."""

    async def pace(step: StepPlan | None) -> None:
        await connecting(step)
        await asking(step is not None and step.kind.verb == _ASK)

    return pace


def _forgive() -> None:
    """The cancellation was ours, and is dealt with."""
    task = asyncio.current_task()
    while task is not None and task.cancelling():
        task.uncancel()
