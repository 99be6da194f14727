"""The radios of a station: opened once for a shift, lent to the runs in its slots."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchrig import collector
from benchrig.errors import BenchrigError, InternalError, StationError
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.beside import Beside
from benchrig.radio.lending import Opener, SharedRadio
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Ear, Report, Selection, Sighting
from benchrig.radio.specify import RadioChoice, radio_opener
from benchrig.radio.turns import Turn, Use
from benchrig.run.walk import Pace
from benchrig.station.slots import RadioSpec
from benchrig.station.station import Station


@dataclass(frozen=True)
class Heard:
    """What a slot's radio heard, with the levels as they are in this slot; `error` is why it heard nothing."""

    slot: str
    radio: str
    sightings: tuple[Sighting, ...] = ()
    error: StationError | None = None


class StationRadios:
    """Each by its name in the station file, '' for the station's own. `openers` are used in place of what the text of a radio
    says; `beside` are the consoles and switches of a slot, where the radios have them. Inside the loop of the line."""

    def __init__(
        self,
        station: Station,
        openers: Mapping[str, Opener] | None = None,
        *,
        beside: Callable[[str], Sequence[Beside]] | None = None,
        seed: int = 0,
    ) -> None:
        self._station, self._beside = station, beside
        self._radios = {
            self.name(slot): SharedRadio(
                (openers or {}).get(self.name(slot)) or _opener(self.spec(slot), station, seed), self.spec(slot).links
            )
            for slot in station.slot_names
        }

    def name(self, slot: str) -> str:
        """That of the radio of a slot."""
        return self._station.slots[slot].radio if slot in self._station.slots else ""

    def spec(self, slot: str) -> RadioSpec:
        return self._station.radio_of(slot)

    def slots_of(self, name: str) -> tuple[str, ...]:
        """The slots whose units are tested over this radio."""
        return tuple(slot for slot in self._station.slot_names if self.name(slot) == name)

    def _of(self, slot: str) -> SharedRadio:
        return self._radios[self.name(slot)]

    async def open(self) -> dict[str, StationError]:
        """Open all; why those that did not open did not. They are tried again when they are lent."""
        found = await asyncio.gather(*(_trouble(radio) for radio in self._radios.values()))
        collector.loaded()
        return {name: error for name, error in zip(self._radios, found, strict=True) if error is not None}

    async def lend(self, slot: str, *, without: frozenset[str] = frozenset()) -> Radio:
        """The slot's radio, for one run, which closes it. It does not hear the addresses `without`: units in other slots.
        StationError."""
        radio = await self._of(slot).lend(without=without)
        if self._beside is not None:
            radio.beside = [*self._beside(slot)]
        return radio

    def opener(self, slot: str, *, without: frozenset[str] = frozenset()) -> Opener:
        """The same, for RunOptions."""
        return lambda: self.lend(slot, without=without)

    @contextlib.asynccontextmanager
    async def link(self, slot: str) -> AsyncIterator[None]:
        """A place among the links that the radio may hold, for as long as the context is open; who waits longest is next."""
        async with self._of(slot).place:
            yield

    @contextlib.contextmanager
    def turn(self, slot: str) -> Iterator[Pace]:
        """What a run waits for before its steps: steps that connect are carried out one at a time. The turn is given back
        before the next step, and at the latest when the context ends."""
        turn = Turn(self._of(slot).turns)

        async def pace(step: StepPlan | None) -> None:
            await turn.take(use_of(step) if step is not None else Use.NOTHING)

        try:
            yield pace
        finally:
            turn.give_back()

    @contextlib.asynccontextmanager
    async def connecting(self, slot: str) -> AsyncIterator[None]:
        """The same turn, for who connects beside a run."""
        async with self._of(slot).turns.hold(Use.CONNECT):
            yield

    async def listen(self, seconds: float, slots: Iterable[str] | None = None) -> dict[str, Heard]:
        """Listen on the radios of these slots (all without) for so many seconds, once a radio; what each slot heard."""
        meant = [*(self._station.slot_names if slots is None else slots)]
        names = [*dict.fromkeys(self.name(slot) for slot in meant)]
        heard = await asyncio.gather(*(self._hear(self._radios[name], seconds) for name in names))
        found = dict(zip(names, heard, strict=True))
        return {slot: self._heard(slot, found[self.name(slot)]) for slot in meant}

    async def _hear(self, shared: SharedRadio, seconds: float) -> Sequence[Report] | StationError:
        reports = list[Report]()
        try:
            async with shared.heard_by(reports.append):
                await asyncio.sleep(seconds)
        except BenchrigError as error:
            return _of_station(error)
        return reports

    def _heard(self, slot: str, found: Sequence[Report] | StationError) -> Heard:
        if isinstance(found, StationError):
            return Heard(slot, self.name(slot), error=found)
        offset, ear = self._station.at_slot(slot).offset, Ear()
        for report in found:
            ear.add(report if report.rssi is None else replace(report, rssi=report.rssi + offset))
        return Heard(slot, self.name(slot), tuple(ear.selected(Selection())))

    async def close(self) -> None:
        """End all links and let all radios go. InternalError when something failed unseen meanwhile."""
        errors = list[InternalError]()
        for radio in self._radios.values():
            try:
                await radio.close()
            except InternalError as error:
                errors.append(error)
        if errors:
            raise errors[0]


def use_of(step: StepPlan) -> Use:
    """The most that a step of a plan, and any in it, uses the radio for beside its link."""
    return max((each.kind.used_by(each.node) for each in every_step([step])), default=Use.NOTHING)


def _opener(spec: RadioSpec, station: Station, seed: int) -> Opener:
    return radio_opener(RadioChoice.parse(spec.radio or "host"), seed=seed, station=station.station)


async def _trouble(radio: SharedRadio) -> StationError | None:
    try:
        await radio.open()
    except BenchrigError as error:
        return _of_station(error)
    return None


def _of_station(error: BenchrigError) -> StationError:
    return error if isinstance(error, StationError) else StationError(error.message, advice=error.advice)
