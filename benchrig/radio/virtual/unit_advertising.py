"""How a simulated device advertises: under which address, to whom, with which data, and whose requests it answers."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Literal

from benchrig.radio.bumble_stack.bumble_api import AdvertisingType, Device, LegacyAdvertiser, hci
from benchrig.radio.virtual.changing_data import Filled
from benchrig.radio.virtual.directing_spec import ANYONE
from benchrig.radio.virtual.privacy_spec import Addresses

if TYPE_CHECKING:
    from collections.abc import Coroutine
    from typing import Any

    from benchrig.radio.virtual.device_spec import DeviceSpec

_MILLISECONDS = 1e3
_LISTED_SCANS, _LISTED_CONNECTIONS = 1, 2  # filter policies, Core Vol 4 Part E 7.8.5
_SOON = 1e-6

Way = Literal["directed", "undirected", "silent"]


class UnitAdvertising:
    """Of one device. `peers` are those that it is bonded with, the last one last; `can` says whether it may be on the air
    just now; `clock` how long a second of its own is. bumble tells every controller that all may connect, so the commands
    are sent from here."""

    def __init__(
        self,
        device: Device,
        spec: DeviceSpec,
        *,
        peers: Callable[[], Sequence[hci.Address]],
        can: Callable[[], bool],
        clock: Callable[[], float],
        chance: Callable[[str], Any],
        spawn: Callable[[Coroutine[Any, Any, Any]], object],
    ) -> None:
        self._device, self._spec, self._plan = device, spec, spec.advertising
        self._peers, self._can, self._clock, self._spawn = peers, can, clock, spawn
        self._made = Addresses(spec.privacy, spec.name, spec.own_address, chance("addresses")) if spec.privacy else None
        self._filled = Filled(chance("advertised"))
        self._lock = asyncio.Lock()
        self._way: Way = "undirected"
        self._over = math.inf  # when directed advertising ends
        self._taken = -math.inf  # when its address was
        self._timer: asyncio.TimerHandle | None = None
        self._began = self._now
        self.addresses: set[str] = {spec.own_address}
        device.on(Device.EVENT_CONNECTION_FAILURE, lambda _: self._spawn(self._end_directed()))

    @property
    def _now(self) -> float:
        return asyncio.get_running_loop().time()

    # What the device does

    async def begin(self) -> None:
        """Advertise: to the bench that it bonded with last where it directs, else to all that it is for."""
        directed = self._plan.directed
        self._way = "directed" if directed and self._peers() else "undirected"
        limit = directed.for_.seconds * self._clock() if directed and directed.for_ else math.inf
        self._over = self._now + limit
        await self._apply()

    def forget(self) -> None:
        """It starts again: with another address."""
        self._taken = -math.inf
        self.pause()

    def pause(self) -> None:
        """Nothing is due while it does not advertise."""
        if self._timer:
            self._timer.cancel()
            self._timer = None

    # Inside

    async def _end_directed(self) -> None:
        """Nobody has connected."""
        if self._way == "directed" and self._can() and self._plan.directed:
            self._way = "undirected" if self._plan.directed.then == "undirected" else "silent"
            await self._apply()

    async def _apply(self) -> None:
        async with self._lock:
            self.pause()
            await self._device.stop_advertising()
            if self._can() and self._way != "silent":
                await self._take_address()
                await self._start()
                self._wind()

    async def _take_address(self) -> None:
        """Another one where it is time for it; the controller and bumble's host have to know the same one."""
        if self._made is None or self._spec.privacy is None:
            return
        if self._now + _SOON < self._taken + self._spec.privacy.every.seconds * self._clock():
            return
        address, self._taken = self._made.next(), self._now
        self._filled.take_anew()
        self.addresses.add(address)
        self._own_type = _own_type(self._spec, address)
        if self._own_type == hci.OwnAddressType.RANDOM:
            self._device.random_address = hci.Address(address)
            await self._send(hci.HCI_LE_Set_Random_Address_Command(random_address=hci.Address(address)))

    async def _start(self) -> None:
        kind, peer = self._kind(), self._target()
        own = self._own_type if self._made else _own_type(self._spec, self._spec.own_address)
        await self._list_peers()
        await self._send_data()
        interval = int(self._plan.interval.seconds * _MILLISECONDS / 0.625)
        await self._send(
            hci.HCI_LE_Set_Advertising_Parameters_Command(
                advertising_interval_min=interval,
                advertising_interval_max=interval,
                advertising_type=kind,
                own_address_type=own,
                peer_address_type=peer.address_type & 1,
                peer_address=peer,
                advertising_channel_map=7,
                advertising_filter_policy=self._policy,
            )
        )
        # bumble takes the address of a link from its advertiser
        self._device.legacy_advertiser = LegacyAdvertiser(self._device, kind, own, peer, auto_restart=False)
        if self._can():  # its power may have gone meanwhile
            await self._send(hci.HCI_LE_Set_Advertising_Enable_Command(advertising_enable=1))

    async def _send_data(self) -> None:
        self._filled.elapsed = (self._now - self._began) / self._clock()
        data, response = self._plan.payloads(self._spec.name, self._filled)
        await self._send(hci.HCI_LE_Set_Advertising_Data_Command(advertising_data=data))
        await self._send(hci.HCI_LE_Set_Scan_Response_Data_Command(scan_response_data=response))

    async def _list_peers(self) -> None:
        """The accept list is that of the bonds."""
        if self._plan.connections == self._plan.scan_requests == ANYONE:
            return
        await self._send(hci.HCI_LE_Clear_Filter_Accept_List_Command())
        for peer in self._peers():
            await self._send(
                hci.HCI_LE_Add_Device_To_Filter_Accept_List_Command(address_type=peer.address_type & 1, address=peer)
            )

    @property
    def _policy(self) -> int:
        if not self._peers():
            return 0
        scans = 0 if self._plan.scan_requests == ANYONE else _LISTED_SCANS
        return scans | (0 if self._plan.connections == ANYONE else _LISTED_CONNECTIONS)

    def _target(self) -> hci.Address:
        return self._peers()[-1] if self._way == "directed" else hci.Address.ANY

    def _kind(self) -> AdvertisingType:
        if self._way == "directed" and self._plan.directed:
            high = self._plan.directed.duty == "high"
            return (
                AdvertisingType.DIRECTED_CONNECTABLE_HIGH_DUTY
                if high
                else AdvertisingType.DIRECTED_CONNECTABLE_LOW_DUTY
            )
        if self._plan.connectable:
            return AdvertisingType.UNDIRECTED_CONNECTABLE_SCANNABLE
        scannable = self._spec.advertised.scannable
        return AdvertisingType.UNDIRECTED_SCANNABLE if scannable else AdvertisingType.UNDIRECTED

    # What comes with the time

    def _wind(self) -> None:
        due = [self._over if self._way == "directed" else math.inf]
        if self._spec.privacy:
            due.append(self._taken + self._spec.privacy.every.seconds * self._clock())
        due += [self._next_count(counter.every.seconds) for counter in self._plan.counters]
        if (at := min(due)) < math.inf:
            self._timer = asyncio.get_running_loop().call_at(at, lambda: self._spawn(self._come()))

    def _next_count(self, every: float) -> float:
        period = every * self._clock()
        return self._began + (math.floor((self._now - self._began) / period + _SOON) + 1) * period

    async def _come(self) -> None:
        """Directed advertising is over, the address is old, or a counter rises."""
        self._timer = None
        if not self._can():
            return
        if self._way == "directed" and self._now + _SOON >= self._over:
            await self._end_directed()
        elif self._spec.privacy and self._now + _SOON >= self._taken + self._spec.privacy.every.seconds * self._clock():
            await self._apply()
        else:
            await self._count()

    async def _count(self) -> None:
        async with self._lock:
            await self._send_data()
            if self._timer is None:
                self._wind()

    async def _send(self, command: Any) -> None:
        await self._device.send_sync_command(command)


def _own_type(spec: DeviceSpec, address: str) -> hci.OwnAddressType:
    """A public address is public only when it is its own."""
    public = spec.own_address_type == "public" and address == spec.own_address
    return hci.OwnAddressType.PUBLIC if public else hci.OwnAddressType.RANDOM
