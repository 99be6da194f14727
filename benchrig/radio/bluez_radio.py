"""The radio of Linux: BlueZ through bleak, with what BlueZ remembers, mixes in and does by itself taken apart from what
was heard."""

from __future__ import annotations

import asyncio
import contextlib
import fnmatch
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchrig.errors import BenchrigError, ConnectTimeout, StationError
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bleak_api import object_path
from benchrig.radio.bluez import KnownDevice, address_in
from benchrig.radio.bluez_agent import Agent
from benchrig.radio.bluez_bonded import Refused, connected
from benchrig.radio.bluez_bonds import stale
from benchrig.radio.bluez_listening import BluezListener
from benchrig.radio.bluez_pairing import BluezSecurity
from benchrig.radio.bluez_security import Security
from benchrig.radio.bluez_troubles import (
    drowned,
    lost_bond,
    lost_from_sight,
    memory_of,
    perhaps_taken,
    refusal_of,
    taken,
    too_weak,
    unasked,
    unasked_pairing,
)
from benchrig.radio.foreign import RESTART_SERVICE
from benchrig.radio.lock_file import waited_for
from benchrig.radio.offers import Names, Step
from benchrig.radio.radio import no_stranger
from benchrig.radio.scan import Report, Selection, Sighting

if TYPE_CHECKING:
    from benchrig.radio.bluez_bonds import BluezBonds
    from benchrig.radio.link import Link

# BlueZ and the kernel report a device once in each round of a scan, and rounds of about 11 s go on for as long as
# anybody scans.
_CROWDED = "another program is scanning with this adapter: it may take 11 s until the unit is heard, and connected"
# What takes longer while another program scans, and why that is not judged.
_SLOWED = frozenset({
    "scan.found_after", "scan.heard", "scan.advertises_after", "scan.reached_after", "connect.elapsed",
    "connect.advertises_after", "disconnect.advertises_after",
})  # fmt: skip
_NOT_TIMED = "another program is scanning with this adapter, which delays what is heard"
_MAY_PAIR = "BlueZ takes no refusal of pairings from this user: a unit that wants an encrypted link may be paired, or fall silent"
# How long a link that was told to go may take until it is gone.
CLEARED_WITHIN = 10.0
# What Linux takes at most to forget a device, hear it again and connect.
RENEWED_WITHIN = 25.0
KEEPS_TABLE = "Linux keeps the table of a paired unit with the key, and forgets both or none"


@dataclass
class BluezRadio(BluezListener):
    """An adapter of BlueZ, for this process alone among those of benchrig from `prepare` on."""

    _target: str = ""
    _security: Security | None = None
    # that of the last link
    _secured: BluezSecurity | None = None

    async def prepare(self, selection: Selection, within: float | None = None) -> list[str]:
        """Take the adapter, and clear the links that a dead benchrig left on it: nothing may be timed over them."""
        self.look_for(selection)
        said, self.to_tell = self.to_tell, []
        if self._claim is None:
            said += await self._take(self.waits if within is None else within)
        if await self._others_scan():
            said.append(_CROWDED)
        return said

    def look_for(self, selection: Selection) -> None:
        self._selection = selection

    async def fault(self) -> BenchrigError | None:
        return await self.bluez.trouble()

    def _fresh(self, without: frozenset[str]) -> dict[str, Any]:
        return super()._fresh(without) | {"_target": "", "_secured": None}

    async def _give_back(self) -> None:
        """The bonds that were made over what was lent go with it."""
        try:
            with contextlib.suppress(StationError):
                if self._security is not None:
                    await self._security.bonds.clear()
        finally:
            self._is_over()

    async def _take(self, within: float) -> list[str]:
        self.bluez.on_failure = self._on_failure
        self._claim = await AdapterLock.take(self.bluez.adapter, within)
        said = waited_for(self._claim.waited, "adapter")
        self._security = await Security.open(self.bluez, self._claim, self._renew)
        if not await Agent(self.bluez, self._asked_to_pair).register():
            said.append(_MAY_PAIR)
        self._met = self._claim.met
        for device in await self.bluez.devices():
            if device.addresses.intersection(self._claim.left) and await self._clear(device):
                said.append(f"cleared a link that was left to {device.name or device.address}")
        left = await self._security.bonds.clear()
        return said + [f"removed the bond that a benchrig had left with {name}" for name in left]

    async def _clear(self, device: KnownDevice) -> bool:
        """Whether there was a link; an attempt to connect ends too."""
        with contextlib.suppress(StationError):
            await self.bluez.disconnect(device)
        deadline = asyncio.get_running_loop().time() + CLEARED_WITHIN
        while any(d.path == device.path and d.connected for d in await self.bluez.devices()):
            if asyncio.get_running_loop().time() > deadline:
                raise StationError(f"a link to {device.address} cannot be cleared", advice=RESTART_SERVICE)
            await asyncio.sleep(0.1)
        return device.connected

    def __post_init__(self) -> None:
        self.on_close = self._give_back if self.is_lent else self._leave
        if self.is_lent and self._security is not None:
            self._security = self._security.for_run(self._renew)

    async def _leave(self) -> None:
        """Without a trace: the next one shall hear what is on the air, not what we have read."""
        try:
            with contextlib.suppress(StationError):
                if self._security is not None:
                    await self._security.close()
                there = await self._devices()
                self._met.intersection_update(address for one in there for address in one.addresses)
                await self._forget(one for one in there if one.addresses & self._met)
            await self.bluez.close()
        finally:
            if self._claim is not None:
                self._claim.release()
                self._claim = None

    def _on_failure(self, error: StationError) -> None:
        """The links go with the service, but nobody tells their clients."""
        for run in [self, *self._others]:
            run.lose_links(error.message)

    def _asked_to_pair(self, path: str) -> None:
        if path.startswith(self.bluez.path + "/"):
            for run in [self, *self._others]:
                run.wishes_to_pair(path)

    def wishes_to_pair(self, path: str) -> None:
        self._wants_pairing.add(address_in(path))
        if self._security is not None:
            self._security.refused_unasked.add(address_in(path))
        said = [unasked(link.name) for link in self._links if link.is_up and link.address == address_in(path)]
        self._remarks += [sentence for sentence in said if sentence not in self._remarks]

    # --- what is behind a failure

    async def trouble(self) -> BenchrigError | None:
        """The service, the adapter, a pairing, another program that holds the unit, or one that scans."""
        return (
            await self.bluez.trouble()
            or self._of_pairing()
            or await self._holder()
            or self._hidden_by_memory()
            or (drowned() if self._drowned else None)
        )

    def _of_pairing(self) -> BenchrigError | None:
        """A pairing that Linux has begun by itself is behind an answer that does not come."""
        security, last = self._security, self._last
        if self._target in self._wants_pairing:
            refused = security.bonds.refused.get(self._target) if security else ""
            if refused and last:
                return lost_bond(last.name, refused)
            return unasked_pairing(unanswered=last is not None and last.gave_up)
        weak = self._secured is not None and self._secured.is_weak
        return too_weak() if weak and last is not None and last.gave_up else None

    async def _holder(self) -> StationError | None:
        """A unit that is connected, and not by this run, can be neither heard nor connected to, through any adapter."""
        own = self.connected_to
        here = self._connected_beside
        held = [one for one in await self.bluez.devices(everywhere=True) if one.connected and not one.addresses & own]
        if (holds := next((one for one in held if one.addresses & here and self._is_just(one)), None)) is not None:
            return taken(holds, here=True)
        held = [one for one in held if not one.addresses & here]
        if (holds := next((one for one in held if self._is_unit(one)), None)) is not None:
            return taken(holds)
        maybe = next((one for one in held if self._unheard and self._may_be_unit(one)), None)
        return None if maybe is None else perhaps_taken(maybe)

    def _is_just(self, device: KnownDevice) -> bool:
        """Whether it is the unit by its address: what else another run of this process is connected to is its own unit."""
        return bool(device.addresses & {self._target, *self._selection.addresses})

    def _is_unit(self, device: KnownDevice) -> bool:
        if self._target in device.addresses:
            return True
        named = any(fnmatch.fnmatchcase(device.name, name) for name in self._selection.names)
        return self._unheard and self._may_be_unit(device) and bool(self._selection.addresses or named)

    def _may_be_unit(self, device: KnownDevice) -> bool:
        """Of a device that is connected BlueZ tells neither the name nor the services that it advertised."""
        wanted = self._selection.addresses
        return all(device.address.upper() == address.upper() for address in wanted)

    def _hidden_by_memory(self) -> StationError | None:
        """A unit of which only what BlueZ remembers could have been selected."""
        if not self._unheard or not self._mixed_up:
            return None
        device = self._mixed_up[0]
        return StationError(
            f"{memory_of(device)}, so that neither selects it",
            advice=f"select it by its address, or let Linux forget it: bluetoothctl remove {device.address}",
        )

    def unjudged(self, step: Step, name: str, names: Names) -> str:
        reading = f"{step.verb}.{name}"
        if self._crowded and reading in _SLOWED:
            return _NOT_TIMED
        if self._mixed and reading in ("scan.name", "scan.services"):
            return self._mixed
        if self._security is not None and (why := self._security.unjudged(step.verb, name)):
            return why
        return super().unjudged(step, name, names)

    # --- connecting

    async def connect(self, sighting: Sighting, within: float, *, stranger: bool = False) -> Link:
        """The table is read anew each time, save that of a paired device, which BlueZ has to keep."""
        if stranger:
            raise no_stranger()
        async with self._air.taken():
            return await self._alone_connected(sighting, asyncio.get_running_loop().time() + within)

    async def _alone_connected(self, sighting: Sighting, deadline: float) -> Link:
        self._target = sighting.address
        self._met.add(sighting.address)
        self._wants_pairing.discard(sighting.address)
        known = [one for one in await self.bluez.devices(everywhere=True) if sighting.address in one.addresses]
        if (holds := next((one for one in known if one.connected), None)) is not None:
            here = bool(holds.addresses & self._connected_beside)
            raise taken(holds, here=here)  # bleak would join that link, and the program that made it would take it away
        self._crowded = await self._others_scan()
        remembered = next((one for one in known if one.path.startswith(self.bluez.path + "/")), None)
        if remembered is not None and remembered.paired:
            link = await self._with_key(sighting, remembered, deadline)
        else:
            link = await self._without_key(sighting, remembered, deadline)
        return link

    async def _without_key(self, sighting: Sighting, remembered: KnownDevice | None, deadline: float) -> Link:
        if remembered is not None and remembered.has_table and not remembered.kept:
            await self.bluez.remove(remembered)
            sighting = await self._met_anew(sighting, deadline)
        elif remembered is None and self._security is not None and self._security.bonds.is_gone(sighting.address):
            sighting = await self._met_anew(sighting, deadline)
        link = await self._connect(sighting, deadline)
        self._secure(link, sighting, encrypted=False)
        return link

    async def _with_key(self, sighting: Sighting, device: KnownDevice, deadline: float) -> Link:
        """Linux encrypts by itself; where the unit does not take the key, a link without it shows that it was the key."""
        security = self._security
        if security is None:
            return await self._connect(sighting, deadline)
        made = await connected(security, device, lambda: self._connect(sighting, deadline), deadline, self._lock)
        if isinstance(made, Refused):
            return await self._after_refusal(sighting, device, made.failure, deadline)
        link, encrypted = made
        kind = "encrypted" if encrypted else "not encrypted"
        link.remarks.append(f"Linux is paired with the unit: its table may come from a cache, and the link is {kind}")
        self._secure(link, sighting, encrypted=encrypted)
        return link

    async def _after_refusal(self, sighting: Sighting, device: KnownDevice, failure: str, deadline: float) -> Link:
        """Linux connects to the unit once it has no key for it."""
        assert self._security is not None
        bonds = self._security.bonds
        if not bonds.is_own(device):
            raise stale(device)
        await bonds.remove(device)
        link = await self._without_key(sighting, None, deadline)
        bonds.refused[link.address] = failure
        link.remarks.append(
            f"{link.name} {refusal_of(failure)}: the link is not encrypted, and Linux has forgotten the key"
        )
        return link

    def _secure(self, link: Link, sighting: Sighting, *, encrypted: bool) -> None:
        if self._security is not None:
            path = object_path(sighting.device)
            self._secured = BluezSecurity(self._security, link, path, encrypted=encrypted)
            link.secure_with(self._secured)

    async def _renew(self, link: Link, device: KnownDevice) -> None:
        """Connect a link anew to a device whose key Linux is to forget."""
        assert self._security is not None
        async with self._air.taken():
            await self._renewed(link, device, self._security.bonds)

    async def _renewed(self, link: Link, device: KnownDevice, bonds: BluezBonds) -> None:
        deadline = asyncio.get_running_loop().time() + RENEWED_WITHIN

        async def connect() -> Link:
            await bonds.remove(device)
            sighting = await self._met_anew(Sighting(link.address, name=link.name), deadline)
            return await self._connect(sighting, deadline)

        other = await link.renew(connect)
        self._links.remove(other)
        self._last = link

    async def _connect(self, sighting: Sighting, deadline: float) -> Link:
        if self._claim is not None:
            self._claim.connected(sighting.address)
        try:
            return await super().connect(sighting, max(0.05, deadline - asyncio.get_running_loop().time()))
        except ConnectTimeout:
            # the kernel connects when it hears the unit, which is once in a round of the other scan
            self._drowned = self._crowded
            raise

    async def payload(self, link: Link) -> int:
        """bleak keeps what BlueZ said when it connected; BlueZ knows better by now."""
        return await self.bluez.payload(link.address)

    async def _met_anew(self, sighting: Sighting, deadline: float) -> Sighting:
        """The same device, heard again after BlueZ has forgotten it and its table. DeviceNotFound."""
        again: asyncio.Future[Report] = asyncio.get_running_loop().create_future()

        def heard(report: Report) -> None:
            if report.address == sighting.address and not again.done():
                again.set_result(report)

        async with self.scanning(heard):
            left = deadline - asyncio.get_running_loop().time()
            await asyncio.wait({again}, timeout=max(0.0, left))
        if not again.done():
            raise lost_from_sight(sighting)
        return replace(sighting, device=again.result().device)

    async def forget(self, sighting: Sighting) -> None:
        """BlueZ forgets a table only with all else that it knows of a device."""
        device = await self.bluez.device(sighting.address)
        if device is not None and device.paired:
            if self._security is not None and self._security.bonds.is_own(device):
                raise StationError(KEEPS_TABLE, advice="leave out fresh, or put unpair: before this step")
            self._remarks.append(
                f"Linux has forgotten its bond with {device.name or device.address}, for a fresh table"
            )
        await self.bluez.forget(sighting.address)
