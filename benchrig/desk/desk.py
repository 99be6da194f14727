"""The desk: an open radio, the names of attributes, and the device that is reached over it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from weakref import WeakKeyDictionary

from benchrig.errors import (
    AttError,
    ConnectFailed,
    DeviceNotFound,
    LinkError,
    MalformedValue,
    NoAnswer,
    OperatorError,
)
from benchrig.radio.choosing import Advice, check_connectable, choose_unit, in_other_letters
from benchrig.radio.scan import Ear, Report, Selection, Sighting
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.run.loop import attended_loop, in_loop
from benchrig.steps.attribute import Names
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.presentation import PRESENTATION_FORMAT

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.radio import Radio
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

T = TypeVar("T")

# A second device that answers the selection too has this long to be heard.
LISTEN = 1.0
# Of the time that finding and connecting may take together.
ATTEMPTS = 3
BACK_OFF = 0.5
# An attempt is not cut shorter than this while there is time: a scan of another program can hold it up.
LEAST_ATTEMPT = 5.0
READ_WITHIN = 5.0
ADVICE = Advice(
    "--device, --service or --manufacturer fits it",
    "switch the others off, say which one with --device (or --service, --manufacturer), take the nearest with "
    "--nearest 6, or pass over the distant ones with --rssi-min -60",
)


@dataclass(frozen=True)
class DeskOptions:
    """What to open, which device is meant, and what its attributes are called. `within`: seconds for finding and
    connecting together. `real_time`: a virtual radio takes the time that a real one would."""

    choice: RadioChoice
    selection: Selection = field(default_factory=Selection)
    names: Names = field(default_factory=Names)
    within: float = 15.0
    seed: int = 0
    capture: Path | None = None
    real_time: bool = False


def in_silence(_: str) -> None:
    """Where nobody waits at a screen."""


@dataclass
class Desk:
    """An open radio. `tell` gets sentences for the person: what had to be cleared, attempts that failed. `doing` gets
    what is being waited for, and '' when that is over. `attempts` is how many the last connection took."""

    radio: Radio
    options: DeskOptions
    tell: Callable[[str], None]
    doing: Callable[[str], None] = in_silence
    attempts: int = 0
    # no link is kept for the sake of what it said of its formats
    _formats: WeakKeyDictionary[Link, dict[int, Format | None]] = field(default_factory=WeakKeyDictionary, repr=False)

    @property
    def names(self) -> Names:
        return self.options.names

    def now(self) -> float:
        """Seconds on the clock of the radio."""
        return asyncio.get_running_loop().time()

    @contextlib.contextmanager
    def showing(self, what: str) -> Iterator[None]:
        """While this is open the person sees what is being waited for: 'reading temperature'."""
        self.doing(what)
        try:
            yield
        finally:
            self.doing("")

    @contextlib.asynccontextmanager
    async def listening(
        self, also: Callable[[Report], object] | None = None, *, active: bool = True
    ) -> AsyncIterator[Ear]:
        """An Ear that hears everything while the context is open; each report goes to `also` too."""
        ear = Ear(self.options.selection.accepts)

        def heard(report: Report) -> None:
            ear.add(report)
            if also is not None:
                also(report)

        async with self.radio.scanning(heard, active=active):
            yield ear

    async def find(self, listen: float = LISTEN, also: Callable[[Report], object] | None = None) -> Sighting:
        """The device that is meant, heard for at least `listen` seconds; each report goes to `also` too. DeviceNotFound,
        AmbiguousDevice."""
        selection, started = self.options.selection, self.now()
        listen = min(listen, self.options.within)
        wanted, told = selection.name or selection.address or "the device", ""
        async with self.blaming(), self.listening(also) as ear:
            with self.showing(f"looking for {wanted}"):
                while (past := self.now() - started) < self.options.within:
                    if past >= listen and ear.selected(selection):
                        break
                    if past >= LISTEN and not told and (told := in_other_letters(ear, selection)):
                        self.tell(f"{wanted} is not heard so far: {told}")
                    await asyncio.sleep(0.05)
        return choose_unit(ear, selection, self.now() - started, ADVICE)

    async def connect(self, unit: Sighting) -> Link:
        """Connect to a device that was heard; a failed attempt is repeated while there is time. The link is closed
        with the desk. ConnectFailed, StationError."""
        check_connectable(unit)
        deadline = self.now() + self.options.within
        async with self.blaming():
            with self.showing(f"connecting to {unit.name or unit.address}"):
                return await self._connect(unit, deadline)

    async def _connect(self, unit: Sighting, deadline: float) -> Link:
        for attempt in range(1, ATTEMPTS + 1):
            self.attempts = attempt
            left = deadline - self.now()
            share = max(LEAST_ATTEMPT, left / (ATTEMPTS - attempt + 1))
            try:
                return await self.radio.connect(unit, max(0.1, min(left, share)))
            except DeviceNotFound:
                # an operating system forgets what it heard a while ago, and what it could not connect to
                if attempt == ATTEMPTS:
                    raise
                unit = await self._heard_again(unit)
            except ConnectFailed as error:
                await self.radio.tidy()
                if attempt == ATTEMPTS or self.now() + BACK_OFF >= deadline:
                    raise
                self.tell(f"attempt {attempt}: {error.message}")
            await asyncio.sleep(BACK_OFF)
        raise AssertionError("the last attempt returns or raises")

    async def _heard_again(self, unit: Sighting) -> Sighting:
        """The same device, listened for once more. OperatorError when another one answers now."""
        again = await self.find(0.0)
        if again.address == unit.address:
            return again
        raise OperatorError(
            f"the device was {unit.address}, and now {again.address} answers", advice="name it with --device"
        )

    async def reach(self, listen: float = LISTEN) -> tuple[Sighting, Link]:
        """Find the device and connect to it."""
        unit = await self.find(listen)
        return unit, await self.connect(unit)

    async def read(self, link: Link, name: str, within: float = READ_WITHIN) -> tuple[Target, bytes]:
        """Look an attribute up and read it. AttributeMissing, AttributeAmbiguous, AttError, NoAnswer, LinkLost."""
        target = look_up(link.table, self.names, name, ("read",))
        with self.showing(f"reading {name}"):
            async with self.blaming():
                return target, await link.read(target.found.attribute, f"read {name}", within)

    async def format_of(self, link: Link, target: Target) -> Format | None:
        """The format that is known, else the one that the device says itself."""
        return target.format or await self.presented(link, target)

    async def presented(self, link: Link, target: Target) -> Format | None:
        """The format that the device says the value has (presentation format descriptor), asked for once a connection;
        None where it says none that can be."""
        attribute = target.found.attribute
        described = [each for each in getattr(attribute, "descriptors", ()) if each.uuid == PRESENTATION_FORMAT]
        known = self._formats.setdefault(link, {})
        if described and attribute.handle not in known:
            try:
                async with self.blaming():
                    data = await link.read(described[0], f"read the format of {target.name}", READ_WITHIN)
                known[attribute.handle] = catalogue.format_from_presentation(data)
            except (AttError, MalformedValue):
                known[attribute.handle] = None
        return known.get(attribute.handle)

    @contextlib.asynccontextmanager
    async def blaming(self) -> AsyncIterator[None]:
        """What was lost with its radio is the station's fault, not the device's."""
        try:
            yield
        except (LinkError, NoAnswer) as error:
            trouble = await self.radio.trouble()
            if trouble is None:
                raise
            raise trouble from error


@contextlib.asynccontextmanager
async def open_desk(
    options: DeskOptions, tell: Callable[[str], None], doing: Callable[[str], None] = in_silence
) -> AsyncIterator[Desk]:
    """Open the radio; whatever is connected is disconnected at the end. PlanError for bad device files, StationError."""
    radio = await radio_opener(options.choice, seed=options.seed, capture=options.capture)()
    try:
        for sentence in await radio.prepare(options.selection):
            tell(sentence)
        yield Desk(radio, options, tell, doing)
    finally:
        await radio.close()


def run_desk(
    options: DeskOptions,
    work: Callable[[Desk], Coroutine[Any, Any, T]],
    tell: Callable[[str], None],
    doing: Callable[[str], None] = in_silence,
) -> T:
    """Run the work at a desk, in an event loop of its own. The first signal cancels the work: one that lets it pass
    ends the command as interrupted (OperatorError); one for which that is the ordinary end (a live view) returns.
    Whatever happens, the device is disconnected."""
    factory = loop_factory(options.choice, real_time=options.real_time)
    return in_loop(_attended(open_desk(options, tell, doing), work), factory)


async def _attended(
    opening: contextlib.AbstractAsyncContextManager[Desk], work: Callable[[Desk], Coroutine[Any, Any, T]]
) -> T:
    async def whole() -> T:
        async with opening as desk:
            return await work(desk)

    task = asyncio.ensure_future(whole())
    interrupted = False

    def interrupt() -> None:
        # once: what follows is the clean-up, which is bounded
        nonlocal interrupted
        if not interrupted:
            interrupted = True
            task.cancel()

    with attended_loop(interrupt):
        try:
            return await task
        except asyncio.CancelledError:
            raise OperatorError("interrupted") from None
