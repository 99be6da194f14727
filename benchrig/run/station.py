"""The station: what this bench is called, which radio it has, and what it does not allow."""

from __future__ import annotations

import platform
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, ClassVar

import msgspec

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import StationError, UsageError
from benchrig.extensions import ALL, ONE, canonical, is_forbidden
from benchrig.plan.step_kinds import origin
from benchrig.plan.tree import StepPlan, place_text
from benchrig.radio.beside import Beside
from benchrig.radio.specify import RadioChoice
from benchrig.record.events import Fixture
from benchrig.run.wiring import CommandSwitch, Wiring
from benchrig.source.loading import load_struct
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.steps import Step
from benchrig.values.quantity import Gain

# What a fixture, a cable or a shielded box takes at most, in dB (common practice, no source).
MOST_OFFSET = 60


class ConsoleText(str):
    """Where the console of the unit is."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> ConsoleText:
        try:
            return cls(ConsoleChoice.parse(str(value)))
        except UsageError as error:
            raise Misfit(error.message, error.advice) from error


class PowerCommands(msgspec.Struct, omit_defaults=True):
    """The programs that switch the power of the unit, with their arguments."""

    down: list[str]
    up: list[str]

    def misfits(self) -> Iterable[Misfit]:
        for key, words in (("down", self.down), ("up", self.up)):
            if not words or not words[0]:
                yield Misfit("a command needs a program", "for example: [relay, '1', open]", (key,))


class FixtureSpec(msgspec.Struct, omit_defaults=True):
    """What holds the unit: its name, and the version of its software."""

    name: str
    software: str = ""

    def misfits(self) -> Iterable[Misfit]:
        if not self.name.strip():
            yield Misfit("expected the name of the fixture, found nothing", "for example: nest 4", ("name",))

    @property
    def recorded(self) -> Fixture:
        return Fixture(self.name, self.software)


class Forbidden(str):
    """What may not run at a station: a kind of step, what other packages bring, what one of them brings."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> Forbidden:
        words = ("call", "command", ALL)
        if value not in words and not (isinstance(value, str) and canonical(value.removeprefix(ONE)) and ONE in value):
            advice = suggest(str(value), words) or f"write {', '.join(words)} or {ONE}NAME"
            raise Misfit(f"expected what is forbidden, found {describe_value(value)}", advice)
        return cls(value)


class Station(msgspec.Struct, omit_defaults=True):
    """A station file. `given` are default values for plans; `rssi_offset` is added to every level (fixture, cable)."""

    station: str
    radio: str | None = None
    results: str | None = None
    forbid: list[Forbidden] = []
    given: dict[str, str] = {}
    rssi_offset: Gain | None = None
    console: ConsoleText | None = None
    power: PowerCommands | None = None
    fixture: FixtureSpec | None = None
    history: str = ""

    def wiring(self, console: ConsoleChoice | None = None) -> Wiring:
        """What there is beside the radio; a console of the command line goes before."""
        power = CommandSwitch(tuple(self.power.down), tuple(self.power.up)) if self.power else None
        return Wiring(console or (ConsoleChoice.parse(self.console) if self.console else None), power)

    def misfits(self) -> Iterable[Misfit]:
        if self.rssi_offset is not None and abs(self.offset) > MOST_OFFSET:
            yield Misfit(
                f"{self.rssi_offset} makes up for no fixture: the limits on levels would say nothing",
                f"write {-MOST_OFFSET} dB to {MOST_OFFSET} dB",
                ("rssi_offset",),
            )

    @property
    def offset(self) -> float:
        """dB to be added to every level."""
        return float(self.rssi_offset.number) if self.rssi_offset is not None else 0.0


def forbidden(steps: Iterable[StepPlan], station: Station) -> Iterator[StepPlan]:
    """The steps that this station does not allow."""
    return (step for step in steps if step.kind.executes and _is_forbidden(step.kind, station))


def _is_forbidden(kind: type[Step], station: Station) -> bool:
    extension = origin(kind)
    return kind.verb in station.forbid if extension is None else is_forbidden(extension.package, station.forbid)


def check_allowed(steps: Iterable[StepPlan], station: Station) -> None:
    """See that the station allows every step, before anything is opened. StationError."""
    for step in forbidden(steps, station):
        raise StationError(
            f"this station forbids {step.kind.verb} steps: '{step.name}' ({place_text(step.place)})",
            advice="take it out of the plan, or allow it in the station file",
        )


def check_possible(steps: Iterable[StepPlan], cannot: Mapping[str, str]) -> None:
    """See that the radio can do every step: also one without a limit must not pass where nothing was done.
    StationError."""
    for step in steps:
        if why := cannot.get(step.kind.verb):
            raise StationError(
                f"this radio cannot do {step.kind.verb} steps: {why}: '{step.name}' ({place_text(step.place)})",
                advice="test this on another radio, or leave the step out with --only",
            )


def unwired(steps: Iterable[StepPlan], station: Station) -> Iterator[tuple[StepPlan, str]]:
    """The steps that need something beside the radio which the station file does not name, and what."""
    named = {"console": station.console, "power": station.power}
    return ((step, wire) for step, wire in _wires(steps) if named[wire] is None)


def check_wired(steps: Iterable[StepPlan], beside: Collection[Beside]) -> None:
    """See that there is a console where a step needs one, and a switch. StationError."""
    there = {"console": any(one.console for one in beside), "power": any(one.power for one in beside)}
    for step, wire in _wires(steps):
        if not there[wire]:
            raise StationError(
                f"this station has no {wire} for the unit: '{step.name}' ({place_text(step.place)})",
                advice=NO_WIRE[wire],
            )


def _wires(steps: Iterable[StepPlan]) -> Iterator[tuple[StepPlan, str]]:
    return ((step, wire) for step in steps for wire in step.kind.wires(step.node))


NO_WIRE = {
    "console": "name it with --console, or with console: in the station file",
    "power": "name the commands that switch it with power: in the station file",
}


def check_radio_files(radio: RadioChoice, path: Path) -> None:
    """See that the device files of this station file's radio are there. UsageError."""
    for file in radio.files:
        if not file.exists():
            raise UsageError(
                f"{file}, which {path} names in 'radio:', is not there",
                advice="paths are seen from the current folder: start benchrig where the path holds, or name --radio",
            )


def load_station(path: Path | None) -> Station:
    """The station of a file, or this machine with nothing configured. PlanError with all problems."""
    if path is None:
        return Station(platform.node() or "unnamed")
    return load_struct(path, Station, "a station file", "write at least 'station:' with a name")
