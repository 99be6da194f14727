"""What a step's action may use: the bench. The runner provides it; steps import no radio and no runner."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Iterable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from benchrig.steps.attribute import AttributeName, Names

if TYPE_CHECKING:
    from benchrig.radio.absence import Presence
    from benchrig.radio.beside import Beside
    from benchrig.radio.device import DeviceSession
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Report, Sighting
    from benchrig.radio.table import Found
    from benchrig.values.access import AccessRow
    from benchrig.values.format import Format

T = TypeVar("T")


class Stream(Protocol):
    """A reading of many samples, judged as they come and kept as statistics only."""

    def add(self, value: Any, raw: bytes | None = None) -> None: ...

    def close(self, *, may_be_empty: bool = False) -> None:
        """All that could come has come; without a sample its limit holds where it `may_be_empty`. A stream that was cut off is judged only by a sample that broke its limit."""
        ...


class Operator(Protocol):
    """The person at the bench. Every call may raise OperatorError: nobody there, refused, no answer in time."""

    async def acknowledge(self, caution: str) -> str:
        """Show the caution and wait until it is acknowledged; the answer says by whom or how."""
        ...

    async def confirm(self, question: str) -> bool: ...

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        """What was typed. It is asked for again, with the problem, until there is none."""
        ...

    async def choose(self, question: str, options: list[str]) -> str: ...

    async def tell(self, text: str) -> None:
        """Show it, as it is; nothing is asked."""
        ...


class Own(Protocol):
    """Does something of the step itself, for so many seconds at most."""

    async def __call__(self, work: Coroutine[Any, Any, T], seconds: float) -> T: ...


async def in_step(work: Coroutine[Any, Any, T], seconds: float) -> T:
    """In a step without steps in it, whose own time ends it."""
    return await work


class Lookout(Protocol):
    """Looks at what is advertised."""

    def hear(self, report: Report) -> None: ...

    def is_enough(self, sighting: Sighting) -> bool: ...


@dataclass(frozen=True)
class Target:
    """An attribute that was looked up: its place in the table and the format of its value (None: bytes)."""

    name: str
    found: Found
    format: Format | None


@dataclass(frozen=True)
class WrittenStep:
    """A step of a plan that a run writes: what stands behind its verb, its other keys, its limits, and comments before it."""

    verb: str
    subject: Any = None
    keys: Mapping[str, Any] = field(default_factory=dict)
    expect: Mapping[str, Any] = field(default_factory=dict)
    remarks: Sequence[str] = ()


class Bench(Protocol):
    """Everything a step may touch. Times are seconds."""

    names: Names
    # the values of the run so far
    given: Mapping[str, Any]
    operator: Operator
    # where the run keeps its files
    folder: Path
    # where the plan stands; programs and modules are looked for from here
    plan_folder: Path
    # which attempt of the step this is, from 1
    attempt: int
    # when the step before this one began
    before: float
    device: DeviceSession

    @property
    def link(self) -> Link:
        """The connection; LinkLost when there is none."""
        ...

    @property
    def beside(self) -> Beside:
        """The console and the switch of the unit. StationError when there is neither."""
        ...

    @property
    def time_left(self) -> float:
        """Until the deadline of this attempt of this step."""
        ...

    def now(self) -> float: ...

    def since(self, started: float) -> float:
        """Seconds from then to now, to the microsecond."""
        ...

    acted_at: float | None
    # whether the link may be lost in the step: because of its limits, or of the step around it
    may_lose: bool

    def acts(self) -> None:
        """What the step is for begins now: its request goes out. The loss of a link is timed from here."""
        ...

    async def pause(self, seconds: float) -> None:
        """Wait; ends early with LinkLost when a link that was up is lost."""
        ...

    async def until(self, event: asyncio.Event, seconds: float) -> bool:
        """Wait for the event; False when the time is over first, LinkLost when the link is lost first."""
        ...

    def outside(self) -> AbstractContextManager[None]:
        """While something outside the air is awaited: a person, a program. The clock is the real one meanwhile."""
        ...

    def lacks(self, name: str) -> str:
        """Why this radio has no such reading of the step at hand; '' when it has."""
        ...

    def not_measured(self, name: str, why: str) -> None:
        """The bench could not measure this reading, which proves nothing against the unit: its limit is not judged."""
        ...

    def wanted(self, name: str) -> bool:
        """Whether the step's limits or saves name this reading (readings of little interest are left out otherwise)."""
        ...

    def reading(
        self,
        name: str,
        value: Any,
        unit: str = "",
        raw: bytes | None = None,
        *,
        why: str = "",
        telling: Callable[[str], str] | None = None,
        window: tuple[float, float, int] | None = None,
        access: Sequence[AccessRow] = (),
        evidence: object = None,
        samples: Iterable[tuple[float, Any]] = (),
    ) -> None:
        """A reading of the step; judged at once when it has a limit. Of a value that is None `why` says what it
        lacks. `telling` makes of the plain sentence of a broken limit what is said of it. `window` is what a statistic is about: from, to (as `now` counts) and of how many; `access`
        is the matrix behind it, `evidence` the rounds behind a statistic, `samples` (when, as `now` counts,
        and the value) what may be kept of what it was worked out from."""
        ...

    def value(self, data: bytes, target: Target, own: Format | None = None) -> None:
        """Decode and report the value of an attribute: one reading, or one a field. MalformedValue after the raw
        bytes are on record when they do not fit the format (`own`, or the one of the target)."""
        ...

    def stream(self, name: str, unit: str = "") -> Stream: ...

    def note(self, text: str, sent: bytes | None = None) -> None:
        """For the record; `sent` are the bytes that the text tells were sent."""
        ...

    def keep_secret(self, text: str) -> None:
        """A number of a pairing: from here on nothing that the run leaves or shows has it."""
        ...

    def save_plan(self, name: str, title: str, steps: Sequence[WrittenStep]) -> str:
        """Write a plan for the unit into the folder of the run, with the names, the selection and the caution of this one; the
        name of its file."""
        ...

    def target(self, name: AttributeName, needs: tuple[str, ...] = ()) -> Target:
        """Look the attribute up in the table of the connected device. `needs` names properties of which it must have
        one. AttributeMissing, AttributeAmbiguous."""
        ...

    async def find(
        self,
        listen: float,
        *,
        active: bool = True,
        swap: bool = False,
        to_connect: bool = False,
        lookout: Lookout | None = None,
    ) -> Sighting:
        """Listen for the unit for `listen` seconds, and on until it is heard or the time of the step is over. After a
        `swap` whatever answers the selection is the unit; `to_connect`, one of changing addresses may have another one, which `connect`
        proves. A `lookout` hears every report, and says of a device whether that
        is enough. DeviceNotFound, AmbiguousDevice, WrongDevice."""
        ...

    async def present(self, listen: float, *, active: bool = True) -> Presence:
        """Listen for so many seconds, and say whether the unit was heard. AmbiguousDevice."""
        ...

    async def connect(
        self, within: float, *, fresh: bool = False, again: bool = False, stranger: bool = False
    ) -> float:
        """Connect to the unit; it becomes the link. Gives the time at which it was asked for: a unit that was never heard
        is listened for before that. `fresh`: the radio forgets the unit first. `again`: it was tried before. A `stranger`
        has an address that the unit has not seen. ConnectUnanswered."""
        ...

    async def disconnect(self) -> None: ...

    async def check_radio(self) -> None:
        """See that what is missing is not the radio's doing. StationError; DeviceError for what the unit did against the
        protocol, or a firmware program that has ended."""
        ...

    def listening(
        self, target: Target, hear: Callable[[bytes], None], doing: str, indicate: bool | None = None
    ) -> AbstractAsyncContextManager[None]:
        """`hear` gets what the characteristic sends while the context is open. One subscription a characteristic and
        connection, however many listen; it is ended on every way out. `indicate` says what is asked for where both are
        offered."""
        ...
