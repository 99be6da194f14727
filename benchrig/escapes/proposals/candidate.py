"""A change of a plan that may catch what it passes: limits on what its steps measure already, or more steps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final

from benchrig.plan.editing import Path_
from benchrig.plan.writing import StepText
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.writing import Bare


@dataclass(frozen=True)
class Seen:
    """Stands for a limit that the runs of the sound device will tell; until then it is `wide`. `room`: by this share a
    number may be off, where that is known; else its kind says so."""

    wide: Mapping[str, Any]
    room: Fraction | None = None


A_TIME: Final = Seen({"min": Bare("0 s")})
A_COUNT: Final = Seen({"min": Bare("0")})
SOME_BYTES: Final = Seen({"length": {"max": Bare("512")}})
SOME_NAMES: Final = Seen({"length": {"max": Bare("1000")}})
SOME_TEXT: Final = Seen({"matches": ".+"})


def a_rate(room: Fraction) -> Seen:
    return Seen({"min": Bare("0 Hz")}, room)


# What a station has to have.
CONSOLE: Final = "a console of the unit (console: of a station file)"
POWER: Final = "a switch of the power (power: of a station file)"
SHOWS_ALL: Final = "a radio that shows generic access (hci, virtual)"


@dataclass(frozen=True)
class Limits:
    """On readings of a step that the plan has: `step` is its id, `at` its place in the file. What a reading was held to
    before is replaced."""

    step: str
    at: Path_
    limits: dict[str, Any]


@dataclass(frozen=True)
class Key:
    """Of a step that the plan has, or of the top of the plan; `reading` is the one that is judged by it, of the step with
    the id `step`, '' for none."""

    step: str
    reading: str
    at: Path_
    key: str
    value: Any


@dataclass(frozen=True)
class Candidate:
    """One change that a person takes or leaves. `why` is one line."""

    kind: str
    title: str
    why: str
    steps: Sequence[StepText] = ()
    limits: Sequence[Limits] = ()
    keys: Sequence[Key] = ()
    needs: str = ""  # what the station has to have for it
    early: bool = False  # its steps come before those that may change what they look at
    # what a run of a unit is told, by the names of the given values that it brings
    given: Mapping[str, Callable[[DeviceSpec], str]] = field(default_factory=dict)

    @property
    def all_steps(self) -> list[StepText]:
        """Those within others too."""
        return [*_every(self.steps)]


@dataclass
class Cost:
    """What a candidate adds to a run of a good device."""

    seconds: float = 0.0
    steps: int = 0
    limits: int = 0


@dataclass
class Choice:
    """A candidate that was chosen, what it costs, and the names of the faults that it caught first or alone."""

    candidate: Candidate
    cost: Cost
    catches: list[str] = field(default_factory=list)


def _every(steps: Sequence[StepText]) -> Iterator[StepText]:
    for step in steps:
        yield step
        for part in step.parts.values():
            yield from _every(part)
