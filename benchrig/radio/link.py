"""One connection to one device. Every operation has a deadline and ends at once when the link is lost."""

from __future__ import annotations

import asyncio
import contextlib
import math
import sys
from collections.abc import Awaitable, Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeVar

from benchrig.errors import AttError, BenchrigError, LinkLost, NoAnswer, StationError, UnfitValue, WantsPairing
from benchrig.radio.bleak_api import own_backend
from benchrig.radio.deadlines import Deadlines
from benchrig.radio.foreign import WITH_RESPONSE, translate
from benchrig.radio.link_security import NotedSecurity
from benchrig.radio.losses import BY_THIS_HOST
from benchrig.radio.offers import CCCD, NO_CCCD, NO_CHOICE, NO_RAW, ON_OTHER_RADIO
from benchrig.radio.table import Attribute, Characteristic, Descriptor, Service, Table, in_order
from benchrig.source.problem import counted
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from bleak import BleakClient

    from benchrig.radio.raw import Raw
    from benchrig.radio.security import LinkSecurity

T = TypeVar("T")

# Requests about one attribute beside the usual ones (Core Vol 3 Part F 3.4.4, 3.4.6).
Way: TypeAlias = Literal[
    "read request", "read blob", "read by type", "read multiple", "read multiple variable", "find by type value",
    "prepare write", "execute write", "write command", "signed write",
]  # fmt: skip

# What the backends need to close a healthy link, the slowest (Windows) aside.
DISCONNECT_WITHIN = 10.0
LEAST_PAYLOAD = 20
PAYLOAD_WITHIN = 1.0
_PROPERTIES = {"authenticated-signed-writes": "signed write"}


class Link:
    """A connection, made by Radio.connect. After `lost` is set every operation raises LinkLost."""

    def __init__(
        self,
        client: BleakClient,
        name: str,
        *,
        ask_payload: Callable[[Link], Awaitable[int]],
        security: Callable[[], LinkSecurity],
        reads_reach_listeners: bool = False,
        value_follows: int = 0,
        hidden_services: frozenset[str] = frozenset(),
        patience: float = math.inf,
    ) -> None:
        self.name = name
        self.address = client.address
        self._ask_payload = ask_payload
        self._security = security
        self._reads_reach_listeners = reads_reach_listeners
        # told the identity address of a bond that the device and this radio have made, '' when it has gone
        self.on_bonded: Callable[[str], None] = lambda _: None
        # told the identity address of a bond too, by the radio
        self.bonded_with: Callable[[str], object] = lambda _: None
        self._last_security: LinkSecurity | None = None
        # sentences about it for the record, or for the person
        self.remarks: list[str] = []
        self._value_follows, self._hidden_services = value_follows, hidden_services
        self._patience = patience
        # the link that goes on over this one's connection; whether this one waits for another connection
        self._heir: Link | None = None
        # whether it was given up for a request without an answer
        self.gave_up = False
        self._is_renewed = False
        self.lost = asyncio.Event()
        self.lost_reason = ""
        # when that was, on the loop's clock, and whether this side ended it
        self.lost_at = 0.0
        self.ended_here = False
        self.table = Table(())
        self._client = client
        self._own = own_backend(client)
        self._closing = False
        self._deadlines = Deadlines()
        self._subscribed: dict[int, Characteristic] = {}
        self._left_on: frozenset[int] = frozenset()
        self._tasks = Tasks()
        self._release: asyncio.Task[None] | None = None

    def established(self) -> None:
        """Take the table over once the client is connected."""
        self.table = _table(self._client, self._value_follows, self._hidden_services)

    def on_disconnected(self, reason: str = "") -> None:
        """Called by the radio's client when the link is gone, whoever closed it. Who gives a `reason` knows it of this side."""
        if self._heir is not None:
            self._heir.on_disconnected(reason)
        elif not self.lost.is_set() and not self._is_renewed:
            known = self.lost_reason or reason
            self.lost_reason = known or self._reason()
            self.ended_here = bool(known) or self.lost_reason == BY_THIS_HOST
            self.lost_at = asyncio.get_running_loop().time()
            self.lost.set()
            self._deadlines.end_by(self.lost_at)

    async def renew(self, connect: Callable[[], Awaitable[Link]]) -> Link:
        """End the connection, and go on over the one that `connect` makes to the same device: whoever holds this link keeps
        it. What was subscribed to would end in silence: StationError. What `connect` raises is the loss of this link."""
        if self._subscribed:
            raise StationError("the link has to be made anew, and there is a subscription", advice="end it before")
        self._is_renewed = True
        try:
            await self._client.disconnect()
            other = await connect()
        except BaseException:
            self._is_renewed = False
            self.on_disconnected("it could not be made anew")
            raise
        self._client, self._own, self.table, other._heir = other._client, other._own, other.table, self
        self._is_renewed = False
        return other

    @property
    def is_up(self) -> bool:
        return not self.lost.is_set()

    @property
    def fault(self) -> str:
        """What the device did against the protocol that ended the link, in words; '' for nothing that is known."""
        return self._own.fault if self._own else ""

    @property
    def unasked(self) -> list[str]:
        """What the device did without being asked to, in sentences: values that it sent, which is a defect that no
        operation notices, and a wish for security that nothing followed."""
        wish = f"{self.name} asked for security (Security Request); the link stayed unencrypted, since no step paired or encrypted"
        return [wish] * bool(self._own and self._own.wants_security) + [
            f"{self.name} sent {counted(count, 'value')} of handle 0x{handle:04X} without a subscription"
            for handle, count in self.sent_unasked.items()
        ]

    @property
    def security(self) -> LinkSecurity:
        """How the link is protected, and what changes that. Raises StationError where the radio cannot, LinkLost."""
        if not self.is_up or not self._client.is_connected:
            raise LinkLost(f"the link is not there any more ({self.lost_reason or 'closing'})")
        self._last_security = NotedSecurity(self._security(), self._bonded)
        return self._last_security

    def _bonded(self, identity: str) -> None:
        self.bonded_with(identity)
        self.on_bonded(identity)

    async def forget_bond(self) -> None:
        """The bench's keys for the unit are gone; also once the link has ended, where its security was asked for before."""
        await (self._last_security or self.security).forget()

    def secure_with(self, security: LinkSecurity) -> None:
        """Where the radio knows it once the link is there."""
        self._security = lambda: security

    @property
    def sent_unasked(self) -> Mapping[int, int]:
        """How many values it sent without being asked to, by handle; empty where the radio does not tell."""
        return self._own.unasked if self._own else {}

    @property
    def has_ways(self) -> bool:
        """Whether `ask` can be used."""
        return self._own is not None

    async def ask(self, way: Way, attribute: Attribute, data: bytes, doing: str, within: float) -> None:
        """Send a request that bleak does not have. What a prepared write has queued is taken back. StationError where the
        radio sends none."""
        own = self._own
        if own is None:
            raise StationError(f"{doing}: the operating system does not send this request")
        await self._operation(doing, within, lambda: own.ask(way, attribute.handle, attribute.uuid, data))

    @property
    def _chooses_indications(self) -> bool:
        return self._own is not None or sys.platform == "win32"

    @property
    def is_busy(self) -> bool:
        """Whether a request is on its way. Cancelling it costs the link: its late answer would fit the next one."""
        return bool(self._deadlines)

    @property
    def payload(self) -> int:
        """Bytes that one write without response, or one notification, carries at most."""
        sizes = [c.obj.max_write_without_response_size for s in self.table.services for c in s.characteristics]
        return max(sizes) if sizes else max(0, self._client.mtu_size - 3)

    async def settled_payload(self) -> int:
        """The payload once the link's MTU is agreed: some stacks say the least of all for a while after connecting."""
        deadline = asyncio.get_running_loop().time() + PAYLOAD_WITHIN
        # the stack tells nobody when it changes
        while (payload := await self._ask_payload(self)) <= LEAST_PAYLOAD and self.is_up:
            if asyncio.get_running_loop().time() >= deadline:
                break
            await asyncio.sleep(0.05)
        return payload

    @property
    def timing(self) -> dict[str, float]:
        """Seconds that the radio can tell apart: 'discover', the reading of the table after the connection."""
        own = self._own
        if own is None or own.connected_at is None or own.discovered_at is None:
            return {}
        return {"discover": own.discovered_at - own.connected_at}

    async def read(self, attribute: Attribute, doing: str, within: float) -> bytes:
        if self._reads_reach_listeners and attribute.handle in self._subscribed:
            raise StationError(
                f"{doing}: this radio delivers what is read as a notification too",
                advice="end the subscription before reading, or count another attribute",
            )
        client = self._client
        read = client.read_gatt_descriptor if isinstance(attribute, Descriptor) else client.read_gatt_char
        return bytes(await self._operation(doing, within, lambda: read(attribute.obj)))

    async def outline(self, within: float, *, values: bool = True) -> list[tuple[int, str, bytes | None]]:
        """Every attribute of the device's own table: handle, type, and with `values` the value of a declaration; [] where
        the radio does not show it."""
        own = self._own
        if own is None:
            return []
        return await self._operation("read the outline of the table", within, lambda: own.outline(values=values))

    async def write(
        self, attribute: Attribute, data: bytes, doing: str, within: float, *, response: bool = True
    ) -> None:
        client, obj = self._client, attribute.obj
        if isinstance(attribute, Descriptor):
            write = self._writer_of(attribute, doing)
            await self._operation(doing, within, lambda: write(obj, data))
            return
        if not response:
            await self._check_length(len(data), doing)
        await self._operation(doing, within, lambda: client.write_gatt_char(obj, data, response=response))

    async def flush(self, doing: str, within: float) -> None:
        """Return once all that was written without response has crossed the air, where the radio tells that."""
        own = self._own
        if own is not None:
            await self._operation(doing, within, own.flush)

    @contextlib.contextmanager
    def raw(self) -> Iterator[Raw]:
        """Octets on any channel, while nothing else speaks on this link; it is to be ended after that, since nobody knows
        what the device made of them. LinkLost, StationError where the radio lets none through."""
        if self._own is None:
            raise StationError(NO_RAW, advice=ON_OTHER_RADIO)
        if not self.is_up:
            raise LinkLost(f"the link is not there any more ({self.lost_reason})")
        with self._own.raw() as channels:
            yield channels

    def _writer_of(self, descriptor: Descriptor, doing: str) -> Callable[[Any, bytes], Awaitable[None]]:
        """bleak refuses to write a client characteristic configuration; a stack of benchrig's own does not."""
        if descriptor.uuid != CCCD:
            return self._client.write_gatt_descriptor
        if self._own is None:
            raise StationError(f"{doing}: {NO_CCCD}", advice="use a notify step, or the hci or virtual radio")
        return self._own.write_gatt_descriptor

    async def _check_length(self, length: int, doing: str) -> None:
        """Backends cut longer data off, or fail in words that blame the link."""
        if length > LEAST_PAYLOAD and self.is_up and length > (carries := await self.settled_payload()):
            raise UnfitValue(
                f"{doing}: {length} bytes in a write without response; this link carries {carries}",
                advice=WITH_RESPONSE,
            )

    async def subscribe(
        self,
        characteristic: Characteristic,
        callback: Callable[[bytes], None],
        doing: str,
        within: float,
        *,
        indicate: bool = False,
    ) -> None:
        """`indicate`: where the characteristic has notifications too. StationError where the system does not let choose."""
        choose = indicate and "notify" in characteristic.properties
        choice: dict[str, Any] = {"force_indicate": True} if choose else {}
        if choose and not self._chooses_indications:
            raise StationError(f"{doing}: {NO_CHOICE}", advice=ON_OTHER_RADIO)

        def heard(_: Any, data: bytearray) -> None:
            callback(data)  # type: ignore[arg-type]  # bytearray is as good

        await self._operation(doing, within, lambda: self._client.start_notify(characteristic.obj, heard, **choice))
        self._subscribed[characteristic.handle] = characteristic

    async def unsubscribe(self, characteristic: Characteristic, doing: str, within: float) -> None:
        if self._subscribed.pop(characteristic.handle, None) is None or not self.is_up:
            return
        await self._operation(doing, within, lambda: self._client.stop_notify(characteristic.obj))

    def leave_on(self, characteristic: Characteristic) -> None:
        """Let the subscription be as it is when the link ends: a bond keeps it."""
        self._subscribed.pop(characteristic.handle, None)
        self._left_on |= {characteristic.handle}

    @property
    def left_on(self) -> frozenset[int]:
        """The handles of what is subscribed to, or was when the link ended."""
        return self._left_on | self._subscribed.keys()

    async def disconnect(self, within: float = DISCONNECT_WITHIN) -> None:
        """End the subscriptions and the link; nothing to do when it is gone already."""
        self._closing = True
        self.lost_reason = self.lost_reason or "closed by benchrig"
        try:
            async with asyncio.timeout(within):
                for characteristic in [*self._subscribed.values()] if self.is_up else []:
                    with contextlib.suppress(BenchrigError):
                        await self.unsubscribe(characteristic, "unsubscribe", within)
                await self._client.disconnect()
        except Exception as exc:
            if self.is_up:
                raise translate(exc, "disconnect") from exc
        finally:
            self.on_disconnected("closed by benchrig")

    async def _operation(self, doing: str, within: float, action: Callable[[], Awaitable[T]]) -> T:
        """Deadline, link loss and error vocabulary around one operation."""
        if not self.is_up:
            raise LinkLost(f"{doing}: the link is not there any more ({self.lost_reason})")
        within, scope = min(within, self._patience), asyncio.timeout(None)
        try:
            async with scope:
                self._deadlines.add(scope, asyncio.get_running_loop().time() + within)
                try:
                    return await action()
                finally:
                    self._deadlines.discard(scope)
        except Exception as exc:
            if scope.expired() and self.is_up:
                self._abandon(f"benchrig gave up on an unanswered request ({doing})")
                raise NoAnswer(f"{doing}: the device did not answer within {round(within, 3):g} s") from exc
            # a backend may report the failed operation just before it reports the loss of the link
            if self.is_up and not self._client.is_connected:
                self.on_disconnected()
            raise self._blamed(translate(exc, doing, link_lost="" if self.is_up else self.lost_reason), doing) from exc

    def _blamed(self, error: BenchrigError, doing: str) -> BenchrigError:
        """What a device wants beyond a link that is encrypted, it alone answers for."""
        if isinstance(error, WantsPairing) and self._is_encrypted:
            return AttError(error.code, error.name, doing)
        if isinstance(error, WantsPairing) and self._is_bonded:
            error.beside_bond()
        return error

    @property
    def _is_encrypted(self) -> bool:
        with contextlib.suppress(BenchrigError):  # of a radio that does not tell
            return bool(self.security.level)
        return False

    @property
    def _is_bonded(self) -> bool:
        with contextlib.suppress(BenchrigError):
            return self.security.is_bonded
        return False

    def _abandon(self, reason: str) -> None:
        """A request that nobody answers blocks its bearer: the link cannot be used any further. Closing it takes the
        backends up to seconds, which is no part of the request's time."""
        self.gave_up = True
        self._release = self._tasks.start(self._client.disconnect())
        self.on_disconnected(reason)

    async def released(self) -> None:
        """Once the link is over: wait until the backend has let go of all that it held for it. Never raises."""
        release = self._release = self._release or self._tasks.start(self._client.disconnect())
        await asyncio.wait({release}, timeout=DISCONNECT_WITHIN)
        self._tasks.drop(release)  # whatever it says about a link that is gone
        await asyncio.wait({release}, timeout=DISCONNECT_WITHIN)

    def _reason(self) -> str:
        reason = self._own.disconnect_reason if self._own else None
        return "disconnected" if reason is None else reason.name.lower().replace("_error", "").replace("_", " ")


def _table(client: BleakClient, value_follows: int, hidden_services: frozenset[str]) -> Table:
    services = []
    for service in sorted(client.services, key=lambda s: s.handle):
        characteristics = []
        for char in sorted(service.characteristics, key=lambda c: c.handle):
            descriptors = tuple(
                Descriptor(d.handle, str(d.uuid), d) for d in sorted(char.descriptors, key=lambda d: d.handle)
            )
            properties = in_order(_PROPERTIES.get(str(p), str(p).replace("-", " ")) for p in char.properties)
            handle = char.handle + value_follows
            characteristics.append(Characteristic(handle, str(char.uuid), properties, descriptors, char))
        services.append(Service(service.handle, str(service.uuid), tuple(characteristics)))
    return Table(tuple(services), hidden_services)
