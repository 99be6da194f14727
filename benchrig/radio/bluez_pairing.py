"""The security of a link over BlueZ: pairing by its own request, never by the way of a read; what Linux hides is None.

BlueZ encrypts by itself where it has a key: a link to a device that it was paired with before is there only once it is
encrypted (its ATT channel asks for security level medium; BlueZ src/device.c, Linux net/bluetooth/l2cap_core.c).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from benchrig.errors import StationError
from benchrig.radio.bluez import DEVICE, Bluez, BluezRefusal, KnownDevice, address_in
from benchrig.radio.bluez_agent import answering
from benchrig.radio.bluez_answers import PartyAnswers
from benchrig.radio.bluez_bonds import others
from benchrig.radio.bluez_kernel import ADD_OOB_DATA, BY_AUTHENTICATION, REMOVE_OOB_DATA, Heard
from benchrig.radio.bluez_troubles import makes_wait
from benchrig.radio.security import (
    DEBUG_KEY,
    ENCRYPTION,
    HIDDEN,
    LINK_LOST,
    NONE,
    REASONS,
    REPEATED,
    TIMEOUT,
    Encrypted,
    Level,
    Method,
    OobData,
    Paired,
    Party,
    Side,
    Wish,
)
from benchrig.radio.security_offers import unable
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from benchrig.radio.bluez_security import Security
    from benchrig.radio.link import Link

# A pairing in which nothing is said for 30 s is over (Core Vol 3 Part H 3.4); a little less proves that it was silent.
SILENCE = 29.0
# The kernel ends such a pairing; this is for one that it does not end.
LONGEST = 120.0
# What the kernel and BlueZ take to say that the link is gone, once the pairing has failed.
SETTLED_WITHIN = 1.0
# What BlueZ answers a request to pair with (src/device.c, btd_error_bonding)
_FAILED = ("AuthenticationFailed", "AuthenticationRejected", "ConnectionAttemptFailed")
_ENDED = ("AuthenticationCanceled", "AuthenticationTimeout")


class BluezSecurity:
    """Of one link. `path` is the object of the device; what it shares with other links is in `shared`."""

    def __init__(self, shared: Security, link: Link, path: str, *, encrypted: bool) -> None:
        self._shared, self._link, self._path = shared, link, path
        self._address = address_in(path)
        self._encrypted = encrypted
        # whether a pairing on this link has asked for protection against a man in the middle
        self._protected = False

    @property
    def level(self) -> Level | None:
        if not self._encrypted or not self._link.is_up:
            return Level.NO_SECURITY
        made = self._shared.bonds.of(self._address)
        return made.level if made is not None else None

    @property
    def is_bonded(self) -> bool:
        """A key that the unit has refused counts until it is given up: Linux had to forget it."""
        made = self._shared.bonds.of(self._address)
        return self._address in self._shared.bonds.refused or (self._encrypted if made is None else bool(made.bonded))

    @property
    def is_weak(self) -> bool:
        """Whether the unit may want more than the link has."""
        made = self._shared.bonds.of(self._address)
        return self._encrypted and made is not None and made.authenticated is False

    async def pair(self, wish: Wish, party: Party) -> Paired:
        if why := unable(wish, manages=self._shared.kernel.manages):
            raise StationError(why[0], advice=why[1])
        async with self._shared.lock:
            await self._begin_anew(wish)
            paired = await self._paired(wish, party)
        self._encrypted = paired.failure == NONE
        return self._shared.keep(paired)

    async def encrypt(self) -> Encrypted:
        if refused := self._shared.bonds.refused.get(self._address):
            return self._shared.kept(Encrypted(refused))
        if not self._link.is_up:
            return self._shared.kept(Encrypted(LINK_LOST))
        if not self._encrypted:
            return await self._unencrypted()
        made = self._shared.bonds.of(self._address) or Paired()
        return self._shared.kept(Encrypted(NONE, made.authenticated, made.secure_connections, made.key_size))

    async def _unencrypted(self) -> Encrypted:
        """Linux encrypts a link to a unit that it has a key of, and lets nobody ask for it."""
        device = await self._shared.bluez.device_at(self._path)
        if device is None or not device.paired:
            raise StationError("Linux has no key for the unit", advice="pair with it before this step")
        return self._shared.kept(Encrypted(ENCRYPTION))

    async def forget(self) -> None:
        """BlueZ ends the link with the key."""
        async with self._shared.lock:
            self._shared.bonds.refused.pop(self._address, None)
            device = await self._own_bond()
            if device is not None:
                await self._give_up(device)

    async def _own_bond(self) -> KnownDevice | None:
        """The device, where BlueZ has a key for it. StationError when that is none of ours."""
        device = await self._shared.bluez.device_at(self._path)
        if device is None or not device.paired:
            return None
        if not self._shared.bonds.is_own(device):
            raise others(device)
        return device

    async def _give_up(self, device: KnownDevice) -> None:
        self._encrypted = False
        await self._link.disconnect()
        await self._shared.bonds.remove(device)

    async def _begin_anew(self, wish: Wish) -> None:
        """BlueZ never answers a request to pair with a device that it is paired with: it tries the older Bluetooth. And it
        forgets a key only together with the link, as the kernel does that a link was to be protected."""
        device, protected = await self._own_bond(), self._protected
        self._protected = wish.capability != "none"
        if device is None and protected and not self._protected:
            device = await self._shared.bluez.device_at(self._path)
        if device is not None:
            await self._shared.renew(self._link, device)
            self._encrypted = False

    # --- pairing

    async def _paired(self, wish: Wish, party: Party) -> Paired:
        shared, answers = self._shared, PartyAnswers(party)
        heard = shared.kernel.listen(self._link.address)
        shared.bonds.begin(self._address)
        try:
            # in this order: a first agent of the system makes BlueZ ask for bonds again
            async with answering(wish.capability, answers) as bus, shared.changes.made(wish), self._knowing(wish.oob):
                refusal = await self._request(bus)
        finally:
            await answers.close()
        shared.kernel.catch_up()
        if answers.error is not None:
            raise answers.error
        if refusal is not None:
            return await self._failed(refusal, heard, answers)
        return await self._succeeded(wish, heard, answers)

    @contextlib.asynccontextmanager
    async def _knowing(self, oob: OobData | None) -> AsyncIterator[None]:
        """The kernel knows hash and randomizer of P-256 while the context is open, behind zeros for those of P-192 (BlueZ
        doc/mgmt-api.txt, Add Remote Out Of Band Data)."""
        if oob is None:
            yield
            return
        device, kernel = await self._shared.bluez.device_at(self._path), self._shared.kernel
        kind = 2 if device is not None and device.is_random else 1
        unit = bytes.fromhex(self._link.address.replace(":", ""))[::-1] + bytes((kind,))
        await kernel.command(ADD_OOB_DATA, unit + bytes(32) + oob.confirm[::-1] + oob.random[::-1])
        try:
            yield
        finally:
            # of an LE device the kernel forgets it only with all others' (net/bluetooth/mgmt.c)
            await kernel.command(REMOVE_OOB_DATA, bytes(7))

    async def _request(self, bus: Bluez) -> BluezRefusal | None:
        """Let BlueZ pair; None when it has. Whatever ends the wait for it ends the pairing."""
        async with Tasks() as tasks:
            request = tasks.start(bus.call(self._path, DEVICE, "Pair", within=LONGEST))
            try:
                await asyncio.shield(request)
            except BluezRefusal as refusal:
                return refusal
            except BaseException:
                await asyncio.shield(self._cancel(bus, request))
                raise
        return None

    async def _cancel(self, bus: Bluez, request: asyncio.Future[object]) -> None:
        if not request.done():
            with contextlib.suppress(StationError):
                await bus.call(self._path, DEVICE, "CancelPairing")
            await asyncio.wait({request}, timeout=SETTLED_WITHIN)
        request.cancel()
        await asyncio.wait({request})
        if not request.cancelled():
            request.exception()

    # --- what came of it

    async def _succeeded(self, wish: Wish, heard: Heard, answers: PartyAnswers) -> Paired:
        device = await self._shared.bluez.device_at(self._path)
        if device is None or not device.paired:
            return Paired(LINK_LOST)
        paired = _told(device, heard, answers, wish, self._link.address, manages=self._shared.kernel.manages)
        self._shared.bonds.made(device, paired)
        if heard.key is not None and heard.key.debug:
            await self._give_up(device)
            return Paired(DEBUG_KEY, "device")
        if wish.pairing == "secure connections" and not paired.secure_connections:
            # Linux takes a key of legacy pairing where the bench offers none
            await self._give_up(device)
            return Paired(REASONS[0x03], "bench")
        return paired

    async def _failed(self, refusal: BluezRefusal, heard: Heard, answers: PartyAnswers) -> Paired:
        by: Side | None
        name = refusal.name.rpartition(".")[2]
        if name not in (*_FAILED, *_ENDED):
            raise _not_begun(refusal)
        silent = asyncio.get_running_loop().time() - max(heard.last_at, answers.last_at)
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._link.lost.wait(), SETTLED_WITHIN)
        self._shared.kernel.catch_up()
        if heard.failed is not None:
            failure, by = heard.failed
        elif answers.refused:
            failure, by = answers.refused, "bench"
        elif name in _ENDED and silent >= SILENCE:
            failure, by = TIMEOUT, "bench" if answers.is_open else "device"
        elif name in _ENDED:
            failure, by = LINK_LOST, None
        else:
            failure, by = self._hidden(heard)
        if self._address in self._shared.refused_unasked and _may_be_our_doing(failure, by, answers.method):
            raise makes_wait()
        return Paired(failure, by, answers.method, features=heard.features)

    def _hidden(self, heard: Heard) -> tuple[str, Side | None]:
        """The reason is not told. What the bench itself finds wrong leaves the link up; the word of the unit ends it."""
        if heard.refused is not None:
            return ENCRYPTION, None
        if heard.ended not in (None, BY_AUTHENTICATION):
            return LINK_LOST, None
        return HIDDEN, "bench" if self._link.is_up else None


def _may_be_our_doing(failure: str, by: Side | None, method: Method | None) -> bool:
    """Whether the unit may only be waiting, since a pairing that Linux began on its own was refused: then it refuses the
    request, before a method is known."""
    return failure == REPEATED or (failure, by, method) == (HIDDEN, None, None)


def _told(
    device: KnownDevice, heard: Heard, answers: PartyAnswers, wish: Wish, address: str, *, manages: bool
) -> Paired:
    """What is known of a pairing that succeeded; without the word of the kernel some follows from its method. Of a method that
    protects it does not follow that the key does: that of the debug mode is everybody's."""
    method = answers.method or ("just works" if wish.oob is None else "out of band")
    key = heard.key
    secure, size = heard.agreed or (True if method == "numeric comparison" else None, None)
    return Paired(
        method=method,
        secure_connections=key.secure_connections if key else secure,
        authenticated=key.authenticated if key else _protects(method, manages=manages),
        bonded=device.bonded,
        key_size=key.size if key else size,
        # without the kernel's word an address that has not changed may as well have been told
        identity_address=heard.identity or (device.address if device.address != address else ""),
        features=heard.features,
    )


def _protects(method: Method, *, manages: bool) -> bool | None:
    if method == "just works":
        return False
    return True if manages else None


def _not_begun(refusal: BluezRefusal) -> StationError:
    if refusal.name.endswith(".InProgress"):
        what = "Linux is pairing with the unit already, for another program"
        return StationError(what, advice="end that pairing, and run again")
    return refusal
