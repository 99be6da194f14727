"""The seam between the bench and whatever carries its packets: scan and connect, on bleak objects.

A radio is a set of options for bleak: an own backend with its stack, or nothing for the operating system's.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Self

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakDBusError

from benchrig.errors import (
    BenchrigError,
    ConnectFailed,
    ConnectTimeout,
    ConnectUnanswered,
    LinkError,
    MalformedPdu,
    StationError,
)
from benchrig.radio.beside import Beside
from benchrig.radio.bleak_api import address_type, own_backend, raw_of
from benchrig.radio.bonds import Bond, Bonds
from benchrig.radio.foreign import IN_PROGRESS, RESTART_SERVICE, translate
from benchrig.radio.link import Link
from benchrig.radio.lock_file import WITHIN, waited_for
from benchrig.radio.offers import NO_STRANGER, ON_OTHER_RADIO, Names, Partly, Step, unjudged
from benchrig.radio.scan import Report, Selection, Sighting
from benchrig.radio.security import LinkSecurity
from benchrig.tasks import Tasks

# Let bleak's own time-out fire first: cancelling its connect can leave the connection pending.
MARGIN = 0.25
# How long a backend may take to find its way out of a connection attempt, and to let go of a client.
GIVE_UP_WITHIN = 10.0
# Between attempts to start a scan while another program is at it.
WHILE_BUSY = (0.25, 0.5, 1.0)
# Bounds what a device can make a run keep and print.
LONGEST_NAME = 248
# Levels that there are, in dBm; a controller says 127 for one that it did not measure (Core Vol 4 Part E 7.7.65.2),
# and so does macOS.
LEVELS = range(-127, 21)


async def _nothing() -> None:
    pass


@dataclass
class Radio:
    """An open radio. `facts` go into the record, `cannot` says which kinds of steps it cannot do, `lacks` and `partly` which readings it does not have and why (see
    offers.py), `on_close` releases what was opened with it. With `reads_reach_listeners` the stack delivers what is read to
    the listeners of the attribute as well; with `repeats_hidden` it reports a device once in a while only. `whole_table`
    when it shows every service and the handles of the device, all but the `hidden_services`; `value_follows` is what
    its handle of a characteristic lacks to that of the value. It `sends_unoffered` requests, which the table does not
    offer, and passes the device's answer on."""

    name: str
    simulated: bool = False
    seed: int | None = None
    scanner_options: dict[str, Any] = field(default_factory=dict)
    client_options: dict[str, Any] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    cannot: Mapping[str, str] = field(default_factory=dict)
    lacks: Mapping[str, str] = field(default_factory=dict)
    partly: Mapping[str, Partly] = field(default_factory=dict)
    reads_reach_listeners: bool = False
    repeats_hidden: bool = False
    # how long it scans before it does so anew, where that is the way to hear a device again
    scans_anew_after: float = 1.5
    whole_table: bool = True
    hidden_services: frozenset[str] = frozenset()
    sends_unoffered: bool = True
    value_follows: int = 0
    # the longest that a request may stay without an answer, whatever a plan allows
    patience: float = math.inf
    on_close: Callable[[], Awaitable[None]] = _nothing
    # the seconds that another benchrig is waited for, and those that one was waited for when this was opened
    waits: float = WITHIN
    waited: float = 0.0
    # consoles and switches of the devices, where the station has some
    beside: list[Beside] = field(default_factory=list)
    # those that the radio works with; None where the system keeps them to itself
    bonds: Bonds | None = None
    # whether nobody else may scan or connect while somebody does
    one_at_a_time: bool = False
    # whether somebody else has opened it, and goes on with it
    is_lent: bool = False
    # addresses that are not heard: what has them is another run's
    deaf_to: frozenset[str] = frozenset()
    # what the record of the next run gets to read beside what had to be done for it
    to_tell: list[str] = field(default_factory=list)
    _links: list[Link] = field(default_factory=list)
    _last: Link | None = None
    _remarks: list[str] = field(default_factory=list)
    # the addresses of units that it was linked to, and those that they told when they bonded
    _own: set[str] = field(default_factory=set)
    _attempts: Tasks = field(default_factory=Tasks)
    _endings: Tasks = field(default_factory=Tasks)
    _lock: asyncio.Lock = field(default_factory=asyncio.Lock)

    def for_run(self, without: frozenset[str] = frozenset()) -> Self:
        """The same radio for one of several runs at once: links, remarks and troubles are its own, and closing it closes no
        more than these. It is deaf to the addresses `without`."""
        return replace(self, **self._fresh(without))

    def _fresh(self, without: frozenset[str]) -> dict[str, Any]:
        """The fields that another run does not share."""
        said = [f"of what is on the air, left out: {', '.join(sorted(without))}"] if without else []
        kept: dict[str, Any] = {"facts": {**self.facts}, "beside": [*self.beside]}
        own: dict[str, Any] = {"_links": [], "_last": None, "_remarks": [], "_own": set()}
        own |= {"_attempts": Tasks(), "_endings": Tasks()}
        lent = {"is_lent": True, "deaf_to": without, "to_tell": said, "on_close": _nothing, "waited": 0.0}
        return kept | own | lent

    @property
    def connected_to(self) -> frozenset[str]:
        """The addresses of its links that are up."""
        return frozenset(link.address for link in self._links if link.is_up)

    async def fault(self) -> BenchrigError | None:
        """Why the radio can do nothing any more, until it is opened anew."""
        return None

    def is_own(self, bond: Bond) -> bool:
        """Whether the bond may have been made over a link of this radio, and not by another run."""
        return not self.is_lent or bond.address in self._own

    async def prepare(self, selection: Selection, within: float | None = None) -> list[str]:
        """Make the radio ready for units of this selection; what had to be done, in sentences. Another benchrig that is
        in the way is waited for, `within` seconds."""
        said, self.to_tell = [*self.to_tell, *waited_for(self.waited, "radio")], []
        return said

    def look_for(self, selection: Selection) -> None:
        """What the scans from here on are for: with several devices it changes."""

    def unjudged(self, step: Step, name: str, names: Names) -> str:
        """Why a limit on this reading of the step is not judged on this radio, as things are now; '' when it is."""
        return unjudged(self.lacks, self.partly, step, name, names)

    async def trouble(self) -> BenchrigError | None:
        """What is known to be behind a link that was lost or never came, or an answer that did not: a StationError
        when it is the radio itself, a DeviceError when it is the unit."""
        fault = self._last.fault if self._last else ""
        return MalformedPdu(fault) if fault else None

    async def aftermath(self) -> BenchrigError | None:
        """What the unit has done wrong that no step noticed; asked after the last one."""
        return None

    def remarks(self) -> list[str]:
        """What the unit did against the specification that no step noticed, in sentences; for the record."""
        several = self.is_lent and len(self.beside) > 1
        beside = [one for one in self.beside if not several or self._own.intersection(one.addresses())]
        printed = [one.console.remark() for one in beside if one.console]
        return (
            self._remarks + [sentence for link in self._links for sentence in link.unasked] + [*filter(None, printed)]
        )

    def passive_options(self) -> dict[str, Any]:
        """Of the scanner, for a passive scan."""
        return self.scanner_options

    def is_cached(self, data: AdvertisementData) -> bool:
        """Whether a report comes from the backend's memory and not from the air."""
        return False

    async def forget(self, sighting: Sighting) -> None:
        """Let nothing be remembered of a device: its next connection reads the table anew."""

    @contextlib.asynccontextmanager
    async def scanning(
        self, on_report: Callable[[Report], object], *, active: bool = True, anew: Callable[[], bool] | None = None
    ) -> AsyncIterator[None]:
        """Report everything heard while the context is open. A system that hides repeated reports is told to scan `anew`,
        again and again, while that says so; by default until the unit was heard."""
        loop = asyncio.get_running_loop()

        def detected(device: BLEDevice, data: AdvertisementData) -> None:
            if not (device.address in self.deaf_to or self.is_cached(data)):
                on_report(_report(loop.time(), device, data, repeats_hidden=self.repeats_hidden))

        try:
            options = self.scanner_options if active else self.passive_options()
            scanner = BleakScanner(detected, scanning_mode="active" if active else "passive", **options)
            async with self._lock:
                await _when_free(scanner.start)
        except Exception as exc:
            raise _no_scan(exc, active=active) from exc
        try:
            yield
        finally:
            try:
                async with asyncio.timeout(GIVE_UP_WITHIN):
                    await scanner.stop()
            except TimeoutError as exc:
                raise StationError("the scan does not stop", advice=RESTART_SERVICE) from exc
            except Exception as exc:
                raise translate(exc, "stop the scan") from exc

    async def connect(self, sighting: Sighting, within: float, *, stranger: bool = False) -> Link:
        """Connect and discover the table; as a `stranger` under an address that no device knows. Raises ConnectFailed,
        ConnectTimeout, StationError."""
        link: Link
        if stranger and "backend" not in self.client_options:
            raise no_stranger()
        options = self.client_options | ({"stranger": True} if stranger else {})
        client = BleakClient(
            sighting.device,
            disconnected_callback=lambda _: link.on_disconnected(),
            timeout=within,
            **options,
        )
        link = Link(client, sighting.name or sighting.address, ask_payload=self.payload,
                    security=lambda: self.security_of(client, link.name), reads_reach_listeners=self.reads_reach_listeners,
                    value_follows=self.value_follows, hidden_services=self.hidden_services, patience=self.patience)  # fmt: skip
        doing = f"connect to {link.name}"
        begun = asyncio.Event()
        attempt = self._attempts.start(self._attempt(client, begun))
        try:
            await begun.wait()
            await asyncio.wait({attempt}, timeout=within + MARGIN)
            error = _failure(attempt)
            # the backend may return from a connect whose link has already gone again
            if error is None and not (client.is_connected and link.is_up):
                error = ConnectFailed(f"{doing}: the link was lost while it was being set up")
        except BaseException:
            attempt.cancel()
            self._end(client, attempt)
            raise
        if error is not None:
            self._end(client, attempt)
            raise _told(client, doing, translate(error, doing, connecting=True)) from error
        link.established()
        link.bonded_with = self._own.add
        self._own.add(link.address)
        self._links.append(link)
        self._last = link
        return link

    async def payload(self, link: Link) -> int:
        """Bytes that one write without response to a device carries now, as far as the radio knows."""
        return link.payload

    def security_of(self, client: BleakClient, name: str) -> LinkSecurity:
        """The security of the link of a client, to a device that is called so. StationError where the radio has no such thing."""
        own = own_backend(client)
        if own is None:
            raise StationError(f"radio {self.name} does not pair", advice=ON_OTHER_RADIO)
        return own.security(name)

    async def _attempt(self, client: BleakClient, begun: asyncio.Event) -> None:
        """One at a time; the wait for another one is no part of its own time."""
        async with self._lock:
            begun.set()
            await client.connect()

    def _end(self, client: BleakClient, attempt: asyncio.Task[None]) -> None:
        """A client that went wrong may still hold a link: end it, beside whatever comes next."""
        self._endings.leave(self._ended(client, attempt))

    async def _ended(self, client: BleakClient, attempt: asyncio.Task[None]) -> None:
        """First the attempt's own way out: one that is cut short can leave the connection pending."""
        await asyncio.wait({attempt}, timeout=GIVE_UP_WITHIN)
        self._attempts.drop(attempt)
        await asyncio.wait({attempt}, timeout=GIVE_UP_WITHIN)
        with contextlib.suppress(Exception):
            async with asyncio.timeout(GIVE_UP_WITHIN):
                await client.disconnect()

    async def tidy(self) -> None:
        """Wait until the backend has let go of what went wrong: attempts to connect, links that are over."""
        await self._endings.settled()
        for link in [link for link in self._links if not link.is_up]:
            await link.released()
            if link in self._links:  # nobody else has waited for it meanwhile
                self._links.remove(link)
                self._remarks += link.unasked

    async def close(self) -> None:
        """Disconnect whatever is connected and release the radio. Never raises for a link that is gone already."""
        try:
            for link in self._links:
                if link.is_up:
                    with contextlib.suppress(Exception):
                        await link.disconnect()
            await self.tidy()
        finally:
            await self.on_close()


def _no_scan(exc: Exception, *, active: bool) -> BenchrigError:
    """A scan that does not start is never the unit's fault, and the backends say in words only what they cannot do."""
    error = translate(exc, "scan")
    if not isinstance(error, LinkError):
        return error
    return StationError(error.message, advice="check the adapter" if active else "leave out 'mode: passive'")


def no_stranger() -> StationError:
    return StationError(NO_STRANGER, advice=ON_OTHER_RADIO)


def _told(client: BleakClient, doing: str, error: BenchrigError) -> BenchrigError:
    """What went wrong with a connection, as far as an own backend knows more of it."""
    own = own_backend(client)
    if own is not None and own.was_unanswered:
        return ConnectUnanswered(
            f"{doing}: the device did not accept the connection",
            advice="see whether the unit takes connections of this station: it may answer bonded ones only",
        )
    return _no_table(client, doing, error)


def _no_table(client: BleakClient, doing: str, error: BenchrigError) -> BenchrigError:
    """What went wrong with a connection; one that was there and only took long to read the table says so."""
    if not isinstance(error, ConnectTimeout) or not _was_connected(client):
        return error
    return ConnectTimeout(
        f"{doing}: the unit was connected, but its attribute table was not read within the time allowed",
        advice="allow more time with within: a table of some hundred attributes takes several seconds",
    )


def _was_connected(client: BleakClient) -> bool:
    own = own_backend(client)
    return own is not None and own.connected_at is not None


def _failure(attempt: asyncio.Task[None]) -> BaseException | None:
    if not attempt.done():
        return TimeoutError()
    return ConnectFailed("the attempt was cut short") if attempt.cancelled() else attempt.exception()


async def _when_free(start: Callable[[], Awaitable[None]]) -> None:
    """Start, again after a while when another program is in the way."""
    for pause in WHILE_BUSY:
        try:
            return await start()
        except BleakDBusError as exc:
            if exc.dbus_error != IN_PROGRESS:
                raise
        await asyncio.sleep(pause)
    return await start()


def _report(now: float, device: BLEDevice, data: AdvertisementData, *, repeats_hidden: bool = False) -> Report:
    raw = raw_of(data)
    return Report(
        at=raw.at if raw else now,
        address=device.address,
        address_type=address_type(device),
        name=data.local_name[:LONGEST_NAME] if data.local_name else None,
        name_is_short=raw is not None and raw.name_is_short,
        rssi=data.rssi if data.rssi in LEVELS else None,
        services=tuple(data.service_uuids),
        manufacturer_data=dict(data.manufacturer_data),
        service_data=dict(data.service_data),
        tx_power=data.tx_power,
        payload=raw.data if raw else None,
        scan_response=raw.scan_response if raw else None,
        connectable=raw.connectable if raw else None,
        directed=raw.directed if raw else None,
        repeats_hidden=repeats_hidden,
        identity=raw.identity if raw else "",
        device=device,
    )
