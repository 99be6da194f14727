"""A simulated device that can be connected to: bumble's host on a controller in the air."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from benchrig.radio.bumble_stack.bumble_api import (
    AdvertisingType,
    Connection,
    Device,
    DeviceConfiguration,
    Host,
    Service,
    hci,
)
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.behaviour import Moment, On
from benchrig.radio.virtual.characteristic import SimulatedCharacteristic, uuid_on_air
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.server import StrictServer
from benchrig.radio.virtual.table_spec import by_name, effects_of
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    import random
    from collections.abc import Coroutine

    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.band import Advertiser
    from benchrig.radio.virtual.device_spec import DeviceSpec
    from benchrig.radio.virtual.gatt_spec import ServiceSpec


class SimulatedDevice:
    """`characteristics` by the names of the specification. Make it, `start` it, `stop` it."""

    def __init__(self, air: Air, spec: DeviceSpec) -> None:
        self.air = air
        self.spec = spec
        self.characteristics: dict[str, SimulatedCharacteristic] = {}
        self._tasks = Tasks(air.fail)
        self._connects = 0
        self._is_on = True
        self._off_until = self._switched_on = asyncio.get_running_loop().time()
        public = spec.own_address_type == "public"
        self.controller = VirtualController(spec.name, air, public_address=spec.own_address if public else None)
        self.host = _DeviceHost(self.controller, air)
        config = DeviceConfiguration(
            name=spec.name, address=_random_address(spec), gap_service_enabled=False, gatt_service_enabled=False
        )
        self.device = Device(config=config, host=self.host)
        self.server = self._serve(spec.table)
        self.device.on(Device.EVENT_CONNECTION, self._on_connection)

    def _serve(self, table: list[ServiceSpec]) -> StrictServer:
        """Answer with this table from the next connection on."""
        server = StrictServer(self.device, self.spawn, self.air.fail)
        server.max_mtu = self.spec.mtu
        self.device.gatt_server = server
        for characteristic in self.characteristics.values():
            for connection in self.connections:
                characteristic.forget(connection)
        self.characteristics = {}
        named = by_name(table)
        for spec in table:
            made = [SimulatedCharacteristic(self, one, [*effects_of(one, named)]) for one in spec.characteristics]
            self.characteristics |= {one.spec.called: one for one in made}
            service = Service(uuid_on_air(spec.service), [one.attribute for one in made])
            server.add_service_without(service, [one.attribute for one in made if not one.spec.cccd])
        return server

    @property
    def uptime(self) -> float:
        """Seconds since it was switched on, or has started again."""
        return asyncio.get_running_loop().time() - self._switched_on

    @property
    def clock(self) -> float:
        """How long a second of its clock is."""
        return self.air.clock_of(self.controller.advertiser)

    @property
    def advertiser(self) -> Advertiser:
        return self.controller.advertiser

    def chance(self, cause: str) -> random.Random:
        return self.air.chance.of(cause, self.spec.name)

    @property
    def connections(self) -> list[Connection]:
        return list(self.device.connections.values())

    async def start(self) -> None:
        await self.device.power_on()
        self.advertiser.rssi_mean, self.advertiser.rssi_spread = self.spec.rssi.dbm, self.spec.rssi.db
        await self.spec.faults.meet(On.START, Moment(self))
        await self._advertise()

    async def _advertise(self) -> None:
        plan = self.spec.advertised
        public = self.spec.own_address_type == "public"
        milliseconds = plan.interval * 1000
        await self.device.start_advertising(
            advertising_type=_advertising_type(connectable=plan.connectable, scannable=plan.scannable),
            own_address_type=hci.OwnAddressType.PUBLIC if public else hci.OwnAddressType.RANDOM,
            advertising_data=plan.data,
            scan_response_data=plan.scan_response,
            advertising_interval_min=milliseconds,
            advertising_interval_max=milliseconds,
        )

    async def stop(self) -> None:
        self._is_on = False
        await self._tasks.close()
        await self.device.power_off()

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        """A task that ends with the device; a fault in it fails the air."""
        return self._tasks.leave(work)

    def _on_connection(self, connection: Connection) -> None:
        connection.on(Connection.EVENT_DISCONNECTION, lambda _: self._on_disconnection(connection))
        self._connects += 1
        self.spawn(self.spec.faults.meet(On.CONNECT, Moment(self, self._connects, connection)))

    async def disconnect(self, connection: Connection) -> None:
        """End a link from the device's side; nothing to do when it has gone."""
        if connection in self.connections:
            await connection.disconnect()

    def _on_disconnection(self, connection: Connection) -> None:
        for characteristic in self.characteristics.values():
            characteristic.forget(connection)
        if self._is_on:
            self.spawn(self._come_back())

    async def _come_back(self) -> None:
        """Advertise again, once it is on."""
        await asyncio.sleep(max(0.0, self._off_until - asyncio.get_running_loop().time()))
        if not self.connections:
            await self._advertise()

    def reboot(self, away: float) -> None:
        """Start again: links are not closed but forgotten, so that the central finds out by its supervision time-out.
        What was written stays, as in a device that keeps its settings; a new table comes with new values."""
        self._off_until = self._switched_on = asyncio.get_running_loop().time() + away
        for end in list(self.controller.le_connections.values()):
            if isinstance(end, End):
                end.air_link.darken()
                self.controller.on_le_disconnected(end, hci.HCI_ErrorCode.CONNECTION_TERMINATED_BY_LOCAL_HOST_ERROR)
        if self.spec.table_after_reboot:
            self.server = self._serve(self.spec.table_after_reboot)


class _DeviceHost(Host):
    """bumble's host; what fails in it fails the air."""

    def __init__(self, controller: VirtualController, air: Air) -> None:
        super().__init__(controller, controller)
        self._air = air

    def on_packet(self, packet: bytes) -> None:
        if self.pending_response is not None and self.pending_response.cancelled():
            return  # an interruption met the device while it was switched on: nobody waits for this
        try:
            super().on_packet(packet)
        except Exception as exc:
            self._air.fail(exc)


def _random_address(spec: DeviceSpec) -> hci.Address:
    """Its address; one with a public address has some random one beside it, as bumble's host wants one."""
    return hci.Address(spec.own_address if spec.own_address_type == "random" else "C0:00:00:00:00:01")


def _advertising_type(*, connectable: bool, scannable: bool) -> AdvertisingType:
    if connectable:
        return AdvertisingType.UNDIRECTED_CONNECTABLE_SCANNABLE
    return AdvertisingType.UNDIRECTED_SCANNABLE if scannable else AdvertisingType.UNDIRECTED
