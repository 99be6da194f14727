"""What was done with a device, in its order: enough of it to do it again."""

from __future__ import annotations

import contextlib
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from benchrig.errors import MalformedValue
from benchrig.values.statistics import Arrivals

if TYPE_CHECKING:
    from benchrig.radio.scan import Selection, Sighting
    from benchrig.radio.security import Encrypted, Paired, Wish
    from benchrig.radio.unit import Unit
    from benchrig.steps.answers import Answers
    from benchrig.steps.listening import Counter
    from benchrig.steps.subscription import Mode
    from benchrig.values.format import Format, FormatSpec

# Of a subscription the newest notifications are kept, of one that ended with its link fewer.
KEPT_SAMPLES = 1000
CUT_SAMPLES = 50
# An all-day session must not fill the memory.
MOST_DEEDS = 10_000


@dataclass(frozen=True)
class Subject:
    """An attribute by the name it was called; `form` is how its value was read, `spec` the format that was given for
    it there. `settable`: it can be written, so it is a setting and no measurement."""

    name: str
    form: Format | None = None
    spec: FormatSpec | None = None
    settable: bool = False
    uuid: str = ""


@dataclass(frozen=True)
class Connected:
    """`selection` is how the device was picked, and `device` what was held on to since."""

    unit: Sighting
    selection: Selection | None = None
    device: Unit | None = None

    def is_to_the_same(self, other: Connected) -> bool:
        """Units of one product all have one name: it is the address that tells, unless one device was followed."""
        followed = self.device is not None and self.device is other.device
        one, another = self.unit, other.unit
        types = {one.address_type, another.address_type} - {""}
        return followed or (one.address == another.address and len(types) < 2)


@dataclass(frozen=True)
class Disconnected:
    pass


@dataclass(frozen=True)
class ConnectionLost:
    """The link ended by itself, `at` on the clock of the radio; None where the radio lost it."""

    reason: str
    at: float | None = None


@dataclass
class ReadDone:
    """The bytes; in their place the name of the ATT error, or a remark on what went wrong: then it is no step. `at` in
    seconds on the clock of the radio."""

    subject: Subject
    data: bytes | None = None
    refused: str = ""
    remark: str = ""
    at: float | None = None


@dataclass
class WriteDone:
    """`at` in seconds on the clock of the radio; `remark` is what went wrong with a write that was sent."""

    subject: Subject
    data: bytes
    at: float
    response: bool = True
    read_back: bool = False
    refused: str = ""
    remark: str = ""


@dataclass
class ExchangeDone(WriteDone):
    """A write, and what answered it: `answer` is None where nothing did. `answers` says how several are one value."""

    reply: Subject = field(kw_only=True)
    starts_with: bytes = b""
    answers: Answers | None = None
    answer: bytes | None = None


@dataclass
class WatchDone:
    """A subscription: what came, and the newest samples with their times; `ended` is None while it lasts."""

    subject: Subject
    started: float
    ended: float | None = None
    # it ended with the link
    is_cut: bool = False
    # the field that counts its values, and what was asked for where both are offered
    counter: str | None = None
    mode: Mode | None = None
    tally: Counter | None = None
    came: Arrivals = field(default_factory=Arrivals)
    samples: deque[tuple[float, bytes]] = field(default_factory=lambda: deque(maxlen=KEPT_SAMPLES))

    def add(self, at: float, data: bytes) -> None:
        self.came.add(at, len(data))
        self.samples.append((at, data))
        if self.tally is not None:
            with contextlib.suppress(MalformedValue):
                self.tally.take(data)

    def cut(self) -> None:
        """The link is gone."""
        self.is_cut = True
        self.samples = deque(list(self.samples)[-CUT_SAMPLES:], maxlen=KEPT_SAMPLES)


@dataclass(frozen=True)
class Waited:
    """`at` is when it began."""

    seconds: float
    at: float


@dataclass(frozen=True)
class PairDone:
    """`wish` says as what; numbers are kept nowhere."""

    wish: Wish
    paired: Paired


@dataclass(frozen=True)
class EncryptDone:
    encrypted: Encrypted


@dataclass(frozen=True)
class UnpairDone:
    """The station has forgotten the device."""


Deed: TypeAlias = (
    Connected | Disconnected | ConnectionLost | ReadDone | WriteDone | WatchDone | Waited | PairDone | EncryptDone
    | UnpairDone
)  # fmt: skip


class Deeds(list[Deed]):
    """What was done, the first of it when that is too much: `dropped` counts the rest."""

    dropped = 0

    def append(self, deed: Deed) -> None:
        if len(self) < MOST_DEEDS:
            super().append(deed)
        else:
            self.dropped += 1
