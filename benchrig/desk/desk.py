"""The desk: an open radio, the names of attributes, and the device that is reached over it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar
from weakref import WeakKeyDictionary

from benchrig.desk.securing import Unattended, secure
from benchrig.errors import (
    AttError,
    BenchrigError,
    ConnectFailed,
    DeviceNotFound,
    LinkError,
    MalformedValue,
    NoAnswer,
    StationError,
    WantsPairing,
    WrongDevice,
)
from benchrig.radio.choosing import Advice, check_connectable, in_other_letters
from benchrig.radio.device import DeviceSession
from benchrig.radio.identity import Identity
from benchrig.radio.scan import Ear, Report, Selection, Sighting
from benchrig.radio.specify import RadioChoice
from benchrig.radio.unit import LISTEN, Unit, Witness
from benchrig.steps.attribute import Names
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.presentation import PRESENTATION_FORMAT

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.radio import Radio
    from benchrig.radio.security import Capability, Encrypted, Paired, Party
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

T = TypeVar("T")

# Of the time that finding and connecting may take together.
ATTEMPTS = 3
BACK_OFF = 0.5
# An attempt is not cut shorter than this while there is time: a scan of another program can hold it up.
LEAST_ATTEMPT = 5.0
# A device that was heard at the last moment is tried all the same.
LEAST_CONNECT = 1.0
READ_WITHIN = 5.0
TO_PAIR = "pair with the device: --pair keyboard, or another of the capabilities in --help"
ADVICE = Advice(
    "--device, --service or --manufacturer fits it",
    "switch the others off, say which one with --device (or --service, --manufacturer), or pass over the distant ones "
    "with --rssi-min -60",
    ", or take the nearest with --nearest 6",
)


@dataclass(frozen=True)
class DeskOptions:
    """What to open, which device is meant, and what its attributes are called."""

    choice: RadioChoice
    selection: Selection = field(default_factory=Selection)
    names: Names = field(default_factory=Names)
    # seconds for finding and connecting together
    within: float = 15.0
    seed: int = 0
    capture: Path | None = None
    # a virtual radio takes the time that a real one would
    real_time: bool = False
    # the radio forgets the device before each connection
    fresh: bool = False
    # as what each link is paired for, None for links as they are
    pair: Capability | None = None
    # the name of the one whose bonds these are
    station: str | None = None
    # whether a pairing leaves a bond
    keeps_bond: bool = True


def in_silence(_: str) -> None:
    """Where nobody waits at a screen."""


@dataclass
class Desk(Witness):
    """An open radio."""

    radio: Radio
    options: DeskOptions
    # gets sentences for the person: what had to be cleared, attempts that failed
    tell: Callable[[str], None]
    # gets what is being waited for, and '' when that is over
    doing: Callable[[str], None] = in_silence
    # who answers while a device is paired with
    party: Party = field(default_factory=Unattended)
    # the one that is meant, and held on to
    device: DeviceSession = None  # type: ignore[assignment]  # made with the desk
    # of the last connection, and the seconds that it took
    attempts: int = 0
    took: float = 0.0
    # what `pair` came to on the last connection
    secured: Paired | Encrypted | None = None
    # no link is kept for the sake of what it said of its formats
    _formats: WeakKeyDictionary[Link, dict[int, Format | None]] = field(default_factory=WeakKeyDictionary, repr=False)

    def __post_init__(self) -> None:
        self.device = self.device or self._meant()

    def _meant(self, advice: Advice = ADVICE) -> DeviceSession:
        return DeviceSession(Unit(self.radio, self.options.selection, advice))

    @property
    def unit(self) -> Unit:
        return self.device.unit

    def note(self, text: str) -> None:
        # what `tell` is can change: a live view takes it over
        self.tell(text)

    @property
    def names(self) -> Names:
        return self.options.names

    def now(self) -> float:
        """Seconds on the clock of the radio."""
        return asyncio.get_running_loop().time()

    @contextlib.asynccontextmanager
    async def showing(self, what: str) -> AsyncIterator[None]:
        """While this is open the person sees what is being waited for: 'reading temperature'. Within, `blaming`."""
        self.doing(what)
        try:
            async with self.blaming():
                yield
        finally:
            self.doing("")

    def means(self, selection: Selection, advice: Advice = ADVICE) -> None:
        """From now on another device is meant: the one that answers this selection."""
        self.options = replace(self.options, selection=selection)
        self.device = self._meant(advice)

    def held_to(self, sighting: Sighting) -> Desk:
        """A desk for this one of several devices that answer the selection."""
        desk = replace(self, device=self._meant())
        desk.unit.sighting, desk.unit.identity = sighting, Identity.of(sighting, self.options.selection.key)
        return desk

    @contextlib.asynccontextmanager
    async def listening(
        self, also: Callable[[Report], object] | None = None, *, active: bool = True
    ) -> AsyncIterator[Ear]:
        """An Ear that hears everything while the context is open; each report goes to `also` too. StationError when the
        radio was gone meanwhile."""
        async with self._ending_well(), self.unit.listening(also, active=active) as ear:
            yield ear

    @contextlib.asynccontextmanager
    async def hearing(self, hear: Callable[[Report], object], *, active: bool = True) -> AsyncIterator[None]:
        """The same for who keeps the reports himself."""
        async with self._ending_well(), self.radio.scanning(hear, active=active):
            yield

    @contextlib.asynccontextmanager
    async def _ending_well(self) -> AsyncIterator[None]:
        """Around a scan: an adapter that was switched off hears nothing, and says nothing."""
        async with self.blaming():
            yield
        # what is known against the unit is told by whoever needs the unit
        if isinstance(trouble := await self.radio.trouble(), StationError):
            raise trouble

    async def find(
        self, listen: float | None = None, also: Callable[[Report], object] | None = None, within: float | None = None
    ) -> Sighting:
        """The device that is meant, heard for at least `listen` seconds; each report goes to `also` too. Once it was
        found it is this one that is waited for. DeviceNotFound, AmbiguousDevice, WrongDevice."""
        within = self.options.within if within is None else within
        async with self.showing(f"looking for {self._wanted}"):
            return await self.unit.find(
                min(self._long_enough(listen), within),
                within,
                also=also,
                looking=self._hint(),
                to_connect=True,
                witness=self,
            )

    @property
    def _wanted(self) -> str:
        return self.options.selection.name or self.options.selection.address or "the device"

    def _hint(self) -> Callable[[Ear], None]:
        """Says once, while the device is looked for, that its name was heard in other letters."""
        begins, told = self.now() + LISTEN / 2, ""

        def look(ear: Ear) -> None:
            nonlocal told
            if told or self.now() < begins:
                return
            if told := in_other_letters(ear, self.options.selection):
                self.tell(f"{self._wanted} is not heard so far: {told}")

        return look

    def _long_enough(self, listen: float | None) -> float:
        """Until a second device must have been heard, where there can be one."""
        known = self.unit.identity is not None or self.options.selection.address is not None
        return listen if listen is not None else 0.0 if known else LISTEN

    async def connect(self, within: float | None = None) -> Link:
        """Connect to the device that was found; a failed attempt is repeated while there is time. The link is closed
        with the desk. ConnectFailed, DeviceNotFound, WrongDevice, StationError; what `secure` raises."""
        sighting = self.unit.sighting
        assert sighting is not None, "find the device first"
        check_connectable(sighting)
        started = self.now()
        async with self.showing(f"connecting to {sighting.name or sighting.address}"):
            link = await self._connect(started + (self.options.within if within is None else within))
        self.took = round(self.now() - started, 6)
        if self.options.pair is not None:
            keeps = self.options.keeps_bond
            self.secured = await secure(link, self.options.pair, self.party, self.tell, bonding=keeps)
        return link

    async def _connect(self, deadline: float) -> Link:
        for attempt in range(1, ATTEMPTS + 1):
            self.attempts = attempt
            left = deadline - self.now()
            share = max(LEAST_ATTEMPT, left / (ATTEMPTS - attempt + 1))
            try:
                fresh = self.options.fresh and attempt == 1
                return await self.device.connect(
                    max(0.1, min(left, share)), fresh=fresh, again=attempt > 1, witness=self
                )
            except (ConnectFailed, DeviceNotFound) as error:
                await self.radio.tidy()
                if attempt == ATTEMPTS or self.now() + BACK_OFF >= deadline:
                    raise
                self.tell(f"attempt {attempt}: {error.message}")
            await asyncio.sleep(BACK_OFF)
        raise AssertionError("the last attempt returns or raises")

    async def reach(self, listen: float | None = None) -> tuple[Sighting, Link]:
        """Find the device and connect to it, both within the time that is given."""
        started = self.now()
        sighting = await self.find(listen)
        link = await self.connect(max(LEAST_CONNECT, started + self.options.within - self.now()))
        return self.unit.sighting or sighting, link

    async def until_back(
        self, connect: Callable[[], Awaitable[T]], failed: Callable[[BenchrigError], None], pause: float
    ) -> T:
        """Connect to a device that was lost, again and again; `failed` gets what came in between."""
        while True:
            await self.radio.tidy()
            try:
                return await connect()
            except (LinkError, NoAnswer, WrongDevice) as error:
                failed(error)
            await asyncio.sleep(pause)

    async def read(self, link: Link, name: str, within: float = READ_WITHIN) -> tuple[Target, bytes]:
        """Look an attribute up and read it. AttributeMissing, AttributeAmbiguous, AttError, NoAnswer, LinkLost."""
        target = look_up(link.table, self.names, name, ("read",))
        async with self.showing(f"reading {name}"):
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
        """What was lost with its radio is the station's fault, not the device's; and who wants to be paired with can be."""
        try:
            yield
        except WantsPairing as error:
            error.advice = TO_PAIR
            raise
        except (LinkError, NoAnswer) as error:
            trouble = await self.radio.trouble()
            if trouble is None:
                raise
            raise trouble from error
