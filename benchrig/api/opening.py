"""open_radio: from words to a radio that is open, and a run that grows."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import AsyncIterator, Mapping
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TypeAlias

from benchrig.api.hiding import Hiding
from benchrig.api.place import calling_place
from benchrig.api.radio import OpenedRadio
from benchrig.api.reading import StepReader
from benchrig.api.run import GrowingRun
from benchrig.api.runner import GrowingRunner
from benchrig.errors import BenchrigError, UsageError
from benchrig.history.choosing import wanted
from benchrig.launch import PreparedRun, RunOptions, prepared
from benchrig.plan.brought import Brought, bring
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Place
from benchrig.station.station import Station, load_station
from benchrig.steps.attribute import Names
from benchrig.steps.bench import Operator

File: TypeAlias = str | Path
_NOBODY = Unattended("acknowledged=True", "the value itself", at_terminal=False)


@dataclass(frozen=True)
class Opening:
    """What a run in Python is, before it begins."""

    choice: RadioChoice
    station: Station
    brought: Brought
    place: Place
    name: str = ""
    seed: int = 0
    acknowledged: bool = False
    caution: str = ""
    operator: Operator = field(default_factory=lambda: _NOBODY)
    capture: Path | None = None
    results: Path | None = None
    may_lack: frozenset[str] = frozenset()
    history: str = ""

    @property
    def options(self) -> RunOptions:
        """Of the run, for all that a run does beside its steps."""
        return RunOptions(
            self.plan, (), self.station, self.choice, self.results, self.seed,
            capture=self.capture, acknowledged=self.acknowledged, may_lack=self.may_lack,
            history=self.history,
        )  # fmt: skip

    @cached_property
    def plan(self) -> Plan:
        """What stands for the plan of the run: the file that asks for its steps."""
        file = Path(self.place.source.name)
        content = self.place.source.text.encode("utf-8", "backslashreplace")
        return Plan(
            self.name or file.stem, file, hashlib.sha256(content).hexdigest(), "", self.caution, {}, {}, None, ()
        )


def open_radio(
    radio: str | RadioChoice | None = None,
    *,
    names: File | None = None,
    given: Mapping[str, str] | None = None,
    station: File | Station | None = None,
    name: str = "",
    seed: int = 0,
    air: str | None = None,
    acknowledged: bool = False,
    caution: str = "",
    operator: Operator | None = None,
    results: File | None = None,
    capture: File | None = None,
    may_lack: tuple[str, ...] = (),
    history: File | None = None,
) -> RadioContext:
    """Open a radio for as long as the context is open; a run begins with it. What is connected is disconnected at its end.

    `radio` has the words of --radio, 'virtual:logger.yaml'; without it that of the station counts. `names` is a plan, or
    a file of names: what attributes are called, and of a plan the device and the caution too; its given values are
    `given`. `station` is a station file. What writes needs `acknowledged` where there is a caution. `results` is the
    folder that gets the folder of this run, `history` the history that it comes into. Raises PlanError, UsageError, StationError."""
    place = calling_place()
    stationed = station if isinstance(station, Station) else load_station(Path(station) if station else None)
    brought = _brought(names, given)
    opening = Opening(
        _choice(radio, stationed, air),
        stationed,
        brought,
        place,
        name,
        seed,
        acknowledged,
        caution or brought.caution,
        operator or _NOBODY,
        Path(capture) if capture else None,
        Path(results) if results else None,
        frozenset(may_lack),
        wanted(history, results),
    )
    return RadioContext(opening)


def _choice(radio: str | RadioChoice | None, station: Station, air: str | None) -> RadioChoice:
    if isinstance(radio, RadioChoice):
        return radio
    words = radio or station.radio
    if not words:
        raise UsageError(
            "no radio is named", advice="write open_radio('host'), or name a station file with radio: in it"
        )
    return RadioChoice.parse(words, air=air)


def _brought(names: File | None, given: Mapping[str, str] | None) -> Brought:
    if names is None:
        return Brought(Names())
    if given is None:
        return bring(Path(names))
    if bring(Path(names)).plan is None:
        raise UsageError(f"given: expected a plan that asks for values, found {names}", advice="leave out given=")
    plan = load_plan(Path(names), given, names_will_do=True)
    return Brought(plan.only.names if "" in plan.devices else Names(), plan)


class RadioContext(AbstractAsyncContextManager[OpenedRadio]):
    """What open_radio returns: nothing is open before it is entered."""

    def __init__(self, opening: Opening) -> None:
        self.opening = opening
        self._open = _opened(opening)

    async def __aenter__(self) -> OpenedRadio:
        return await self._open.__aenter__()

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        return await self._open.__aexit__(kind, error, trace)


@contextlib.asynccontextmanager
async def _opened(opening: Opening) -> AsyncIterator[OpenedRadio]:
    with prepared(opening.options, opening.operator, kind=GrowingRunner) as run:
        growing = await _begun(opening, run)
        try:
            yield OpenedRadio(growing, opening.brought, run)
        except BaseException as error:
            await growing.end(error)
            run.reported()
            raise
        try:
            await growing.end(None)
        finally:
            troubles = run.reported().troubles
        for trouble in troubles:
            raise trouble


async def _begun(opening: Opening, run: PreparedRun) -> GrowingRun:
    runner, plan = run.runner, opening.plan
    assert isinstance(runner, GrowingRunner)
    hiding = Hiding(run.events, plan)
    hiding.begin(opening.brought.plan)
    runner.keep_secret = hiding.add
    try:
        radio = await runner.begin()
    except BenchrigError as error:
        runner.end_before(error)
        run.reported()
        raise
    growing = GrowingRun(runner, radio, StepReader(plan.path, opening.caution), hiding)
    run.events.viewers.append(growing.hear)
    return growing
