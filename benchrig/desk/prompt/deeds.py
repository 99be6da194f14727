"""What was done with a device, in its order: enough of it to do it again."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from benchrig.radio.scan import Sighting
    from benchrig.values.format import Format
    from benchrig.values.spec import FormatSpec

# Of a subscription the newest notifications are kept.
KEPT_SAMPLES = 1000


@dataclass(frozen=True)
class Subject:
    """An attribute by the name it was called; `form` is how its value was read, `spec` the format that was given for
    it there. `settable`: it can be written, so it is a setting and no measurement."""

    name: str
    form: Format | None = None
    spec: FormatSpec | None = None
    settable: bool = False


@dataclass(frozen=True)
class Connected:
    unit: Sighting


@dataclass(frozen=True)
class Disconnected:
    pass


@dataclass(frozen=True)
class Lost:
    """The link ended by itself."""

    reason: str


@dataclass(frozen=True)
class ReadDone:
    """The bytes, or the name of the ATT error that came in their place."""

    subject: Subject
    data: bytes | None
    refused: str = ""


@dataclass(frozen=True)
class WriteDone:
    """`at` in seconds on the clock of the radio."""

    subject: Subject
    data: bytes
    at: float
    response: bool = True
    read_back: bool = False
    refused: str = ""


@dataclass
class Watched:
    """A subscription: the newest samples with their times, and how many came; `ended` is None while it lasts;
    `is_cut` when it ended with the link."""

    subject: Subject
    started: float
    ended: float | None = None
    is_cut: bool = False
    count: int = 0
    first_at: float = 0.0
    last_at: float = 0.0
    samples: deque[tuple[float, bytes]] = field(default_factory=lambda: deque(maxlen=KEPT_SAMPLES))

    def add(self, at: float, data: bytes) -> None:
        if not self.count:
            self.first_at = at
        self.count += 1
        self.last_at = at
        self.samples.append((at, data))

    @property
    def rate(self) -> float | None:
        """Per second, between the first and the last."""
        span = self.last_at - self.first_at
        return (self.count - 1) / span if span > 0 else None


@dataclass(frozen=True)
class Waited:
    """`at` is when it began."""

    seconds: float
    at: float


Deed: TypeAlias = Connected | Disconnected | Lost | ReadDone | WriteDone | Watched | Waited
