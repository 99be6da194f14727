"""A simulated device that can be connected to: bumble's host on a controller in the air."""

from __future__ import annotations

import asyncio
import math
from collections import Counter
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from benchrig.radio.bumble_stack.bumble_api import (
    UUID,
    Connection,
    Device,
    DeviceConfiguration,
    Host,
    Plain,
    Service,
    hci,
)
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.behaviour import Moment, On, Refused, Unanswered
from benchrig.radio.virtual.characteristic import SimulatedCharacteristic, uuid_on_air
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.doorway import Doorway
from benchrig.radio.virtual.gate import answer_to
from benchrig.radio.virtual.makers import Happening, Unfit
from benchrig.radio.virtual.reaction_spec import SHOWN
from benchrig.radio.virtual.reactions import Building, Reaction
from benchrig.radio.virtual.security import DeviceSecurity
from benchrig.radio.virtual.server import StrictServer
from benchrig.radio.virtual.table_spec import by_name
from benchrig.radio.virtual.unit_advertising import UnitAdvertising
from benchrig.radio.virtual.weaknesses import Weaknesses
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Coroutine, Mapping

    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.band import Advertiser
    from benchrig.radio.virtual.device_spec import DeviceSpec
    from benchrig.radio.virtual.gatt_spec import ServiceSpec


_CCCD = UUID.from_16_bits(0x2902)
_OCCASIONS = ("on_start", "on_connect", "on_disconnect", "on_display", "unasked")


class SimulatedDevice:
    """`characteristics` by the names of the specification. Make it, `start` it, `stop` it. `called` is what only this device
    is called on its air, where others have its name."""

    def __init__(self, air: Air, spec: DeviceSpec, called: str = "") -> None:
        self.air = air
        self.spec = spec
        self.called = called or spec.name
        self.characteristics: dict[str, SimulatedCharacteristic] = {}
        self._tasks = Tasks(air.fail)
        self._connects = self._requests = 0
        self._times: Counter[tuple[str, str]] = Counter()
        self._is_on = True
        self._off_until = self._switched_on = asyncio.get_running_loop().time()
        self._return: asyncio.TimerHandle | None = None
        self._later: set[asyncio.Task[Any]] = set()
        self._is_booting = False
        self.console_listeners: list[Callable[[str], None]] = []
        public = spec.own_address_type == "public"
        self.controller = VirtualController(self.called, air, public_address=spec.own_address if public else None)
        self.host = _DeviceHost(self)
        config = DeviceConfiguration(
            name=spec.name,
            address=_random_address(spec),
            irk=spec.identity_key[::-1],
            gap_service_enabled=False,
            gatt_service_enabled=False,
        )
        self.device = Device(config=config, host=self.host)
        self.security = DeviceSecurity(self)
        self.advertising = UnitAdvertising(
            self.device,
            spec,
            peers=lambda: self.security.peers,
            can=lambda: self._may_advertise,
            clock=lambda: self.clock,
            chance=self.chance,
            spawn=self.spawn,
        )
        self.server = self._serve(spec.table)
        self.weaknesses = Weaknesses(self, spec.weaknesses)
        self.doorway = Doorway(self, spec)
        self.device.on(Device.EVENT_CONNECTION, self._on_connection)

    def _serve(self, table: list[ServiceSpec]) -> StrictServer:
        """Answer with this table from the next connection on."""
        server = StrictServer(self.device, self.security, self.spawn, self.air.fail)
        server.max_mtu = self.spec.mtu
        self.device.gatt_server = server
        for characteristic in self.characteristics.values():
            for connection in self.connections:
                characteristic.forget(connection)
        self.characteristics = {}
        building = Building(by_name(table))
        self._occasions = {name: building.reactions(getattr(self.spec, name), (name,)) for name in _OCCASIONS}
        self._lines = building.lines(self.spec.console, ("console",))
        for spec in table:
            made = [SimulatedCharacteristic(self, one, building) for one in spec.characteristics]
            self.characteristics |= {one.spec.called: one for one in made}
            service = Service(uuid_on_air(spec.service), [one.attribute for one in made])
            server.add_service_without(service, [one.attribute for one in made if not one.spec.cccd])
            for one in made:
                server.declare(one.attribute, one.spec.declared_bits)
                one.protect(server)
        return server

    @property
    def uptime(self) -> float:
        """Seconds since it was switched on, or has started again."""
        return max(0.0, asyncio.get_running_loop().time() - self._switched_on)

    @property
    def is_running(self) -> bool:
        """Not switched off, nor on its way back."""
        return self._is_on and asyncio.get_running_loop().time() >= self._switched_on

    @property
    def targets(self) -> Mapping[str, SimulatedCharacteristic]:
        return self.characteristics

    @property
    def clock(self) -> float:
        """How long a second of its clock is."""
        return self.air.clock_of(self.controller.advertiser)

    @property
    def sends_unprotected(self) -> bool:
        """A fault."""
        return self.spec.security.faults.notifies_unencrypted

    @property
    def advertiser(self) -> Advertiser:
        return self.controller.advertiser

    def chance(self, cause: str) -> random.Random:
        return self.air.chance.of(cause, self.called)

    @property
    def connections(self) -> list[Connection]:
        return list(self.device.connections.values())

    async def start(self) -> None:
        self.advertiser.refuses = self._refuses
        await self.device.power_on()
        self.security.start()
        self.advertiser.rssi_mean, self.advertiser.rssi_spread = self.spec.rssi.dbm, self.spec.rssi.db
        await self.spec.faults.meet(On.START, Moment(self))
        self._act("on_start")
        await self.advertising.begin()

    async def stop(self) -> None:
        self._is_on = False
        if self._return:
            self._return.cancel()
        self.advertising.pause()
        await self._tasks.close()
        await self.device.power_off()

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        """A task that ends with the device; a fault in it fails the air."""
        return self._tasks.leave(work)

    def _on_connection(self, connection: Connection) -> None:
        self.security.attend(connection)
        connection.on(Connection.EVENT_DISCONNECTION, lambda _: self._on_disconnection(connection))
        self.weaknesses.on_connection(connection)
        self._connects += 1
        self.doorway.on_connection(connection, self._connects)
        for characteristic in self.characteristics.values():
            characteristic.on_connection(connection)
        if self.sends_unprotected and self.security.has_key(connection):
            for characteristic in self.characteristics.values():
                characteristic.resume(connection)
        self._act("on_connect", connection)
        self.occurs("connect", "", connection)
        self.spawn(self.spec.faults.meet(On.CONNECT, Moment(self, self._connects, connection)))

    def _refuses(self) -> bool:
        """Whether it leaves this request for a connection unanswered."""
        self._requests += 1
        return self.spec.faults.lag(On.ASKED, Moment(self, self._requests)) == math.inf

    async def disconnect(self, connection: Connection | None) -> None:
        """End a link from the device's side, all of them without one; nothing to do when it has gone."""
        for one in self.connections:
            if connection in (None, one):
                await _ended(one)

    def vanish(self, connection: Connection) -> None:
        """Leave a link without a word; nothing to do when it has gone."""
        for end in list(self.controller.le_connections.values()):
            if isinstance(end, End) and end.handle == connection.handle and connection in self.connections:
                end.air_link.darken()
                self.controller.on_le_disconnected(end, hci.HCI_ErrorCode.CONNECTION_TERMINATED_BY_LOCAL_HOST_ERROR)

    def _on_disconnection(self, connection: Connection) -> None:
        self.doorway.forget(connection)
        for characteristic in self.characteristics.values():
            characteristic.forget(connection)
        self.security.on_disconnection()
        if self.is_running:
            self._act("on_disconnect")
            self._advertise_at(asyncio.get_running_loop().time() + self.spec.advertising.again_after.seconds)

    def _advertise_at(self, time: float) -> None:
        """Advertise from then on, once it is awake."""
        if self._return:
            self._return.cancel()
        self._off_until = max(self._off_until, time)
        if self._off_until < math.inf:
            loop = asyncio.get_running_loop()
            self._return = loop.call_at(max(loop.time(), self._off_until), self._come_back)

    def _come_back(self) -> None:
        self._return = None
        if self._is_booting:
            self._is_booting = False
            self._act("on_start")
        self.spawn(self._advertise_again())

    @property
    def _may_advertise(self) -> bool:
        """It is awake, and nothing has put it to sleep since."""
        awake = self._is_on and self._return is None and self._off_until < math.inf
        return awake and not self.connections

    async def _advertise_again(self) -> None:
        if self._may_advertise:
            await self.advertising.begin()

    def sleep(self, seconds: float) -> None:
        """Do not advertise for so long."""
        if not self.connections:
            self._fall_silent()
        self._advertise_at(asyncio.get_running_loop().time() + seconds)

    def _fall_silent(self) -> None:
        self.controller.stop_advertising()
        self.advertising.pause()

    def reboot(self, away: float) -> None:
        """Start again: links are not closed but forgotten, so that the central finds out by its supervision time-out.
        What was written stays unless it is volatile; a new table comes with new values."""
        self._forget_all()
        self._off_until = self._switched_on = asyncio.get_running_loop().time() + away
        self._is_booting = True
        self._advertise_at(self._off_until)
        if self.spec.table_after_reboot:
            self.server = self._serve(self.spec.table_after_reboot)

    def switch_off(self) -> None:
        """Without power, until it is switched on."""
        self.reboot(math.inf)

    def switch_on(self) -> bool:
        """Start from the beginning; False and nothing to do for one that is on."""
        if self._switched_on != math.inf:
            return False
        self._off_until = self._switched_on = asyncio.get_running_loop().time()
        self._advertise_at(self._switched_on)
        return True

    def _forget_all(self) -> None:
        """What is gone without power."""
        self.weaknesses.start_again()
        self.security.on_restart()
        self._fall_silent()
        self.advertising.forget()
        for task in self._later - {asyncio.current_task()}:
            task.cancel()
        for end in list(self.controller.le_connections.values()):
            if isinstance(end, End):
                end.air_link.darken()
                self.controller.on_le_disconnected(end, hci.HCI_ErrorCode.CONNECTION_TERMINATED_BY_LOCAL_HOST_ERROR)
        for characteristic in self.characteristics.values():
            if characteristic.spec.volatile:
                characteristic.reset()

    def answer(self, connection: Connection, channel: int, octets: bytes) -> None:
        self.host.send_l2cap_pdu(connection.handle, channel, octets)

    # What its weaknesses look at

    def length_of(self, handle: int) -> int | None:
        found = (one for one in self.characteristics.values() if one.attribute.handle == handle)
        return next((len(one.current()) for one in found), None)

    def is_configuration(self, handle: int) -> bool:
        attribute = self.server.get_attribute(handle)
        return attribute is not None and attribute.type == _CCCD

    def has_queued(self, connection: Connection) -> bool:
        return bool(self.server.prepared_writes.get(connection))

    def queued_end(self, connection: Connection) -> int:
        return max((at + len(part) for _, at, part in self.server.prepared_writes.get(connection, [])), default=0)

    def drop_queued(self, connection: Connection) -> None:
        self.server.prepared_writes.pop(connection, None)

    # What occasions set off

    def _act(self, occasion: str, connection: Connection | None = None, **groups: str) -> None:
        for reaction in self._occasions[occasion]:
            self.later(reaction, Happening(self, connection, groups=groups))

    def occurs(self, kind: str, name: str, connection: Connection) -> None:
        """What a central does, once more; what the device does on its own begins then."""
        self._times[kind, name] += 1
        for reaction in self._occasions["unasked"]:
            after = reaction.spec.after
            if (after.kind, after.name, after.number) == (kind, name, self._times[kind, name]):
                self.later(reaction, Happening(self, connection))

    def on_display(self, number: str, connection: Connection) -> None:
        """It shows a passkey, or a number to compare."""
        self._act("on_display", connection, **{SHOWN: number})

    def enter(self, text: str) -> None:
        """Somebody types this on it, or says so to its question."""
        self.security.enter(text)

    def delete_bonds(self) -> None:
        self.security.delete_bonds()
        self.spawn(self._advertise_again())  # for all, where it was for those that it was bonded with

    def later(self, reaction: Reaction, happening: Happening) -> None:
        """Do it when its time has come, unless the device starts again before."""
        self._until_restart(self._do(reaction, happening))

    def postpone(self, seconds: float, action: Callable[[], None]) -> None:
        """Do it so much later, unless the device starts again before; never after an infinite time."""
        if seconds < math.inf:
            self._until_restart(_after(seconds, action))

    def _until_restart(self, work: Coroutine[Any, Any, None]) -> None:
        task = self.spawn(work)
        self._later.add(task)
        task.add_done_callback(self._later.discard)

    async def _do(self, reaction: Reaction, happening: Happening) -> None:
        moment = Moment(self, connection=happening.connection)
        with suppress(Unanswered, Unfit):
            await reaction.spec.begin(On.LATER, moment)
            reaction.happen(self, happening)
            await reaction.spec.end(On.LATER, moment)

    def print(self, line: str) -> None:
        """A line on its console; what breaks lines makes several."""
        for part in line.splitlines():
            for hear in list(self.console_listeners):
                hear(part)

    async def take_line(self, line: str) -> None:
        """A line that somebody has typed at its console."""
        happening = Happening(self, written=line.encode("utf-8", "replace"))
        for case in self._lines if self.is_running else ():
            if (found := case.fitting(happening)) is not None:
                with suppress(Unfit):
                    case.happen(self, found)
                return


class _DeviceHost(Host):
    """bumble's host; what fails in it fails the air."""

    def __init__(self, unit: SimulatedDevice) -> None:
        super().__init__(unit.controller, unit.controller)
        self._unit, self._air = unit, unit.air

    def on_packet(self, packet: bytes | Plain) -> None:
        if self.pending_response is not None and self.pending_response.cancelled():
            return  # an interruption met the device while it was switched on: nobody waits for this
        try:
            super().on_packet(packet)
        except Exception as exc:
            self._air.fail(exc)

    def on_l2cap_pdu(self, connection: Any, cid: int, pdu: bytes) -> None:
        """A frame: what the unit does not bear, and what bumble would not, is answered here."""
        link = self._unit.device.lookup_connection(connection.handle)
        if link is None:
            self._deal(connection, link, cid, pdu)
        else:
            self._unit.doorway.take(link, cid, pdu, lambda: self._deal(connection, link, cid, pdu))

    def _deal(self, connection: Any, link: Connection | None, cid: int, pdu: bytes) -> None:
        answer = None if link is None else self._unit.weaknesses.meet(link, cid, pdu)
        if answer is None:
            answer = answer_to(cid, pdu)
        if answer is None:
            super().on_l2cap_pdu(connection, cid, pdu)
        elif answer:
            self.send_l2cap_pdu(connection.handle, cid, answer)


async def _ended(connection: Connection) -> None:
    """The controller may know already that it has gone, and the host not yet."""
    try:
        await connection.disconnect()
    except hci.HCI_Error as error:
        if error.error_code != hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR:
            raise


async def _after(seconds: float, action: Callable[[], None]) -> None:
    await asyncio.sleep(seconds)
    with suppress(Unfit, Refused):
        action()


def _random_address(spec: DeviceSpec) -> hci.Address:
    """Its address; one with a public address has some random one beside it, as bumble's host wants one."""
    return hci.Address(spec.own_address if spec.own_address_type == "random" else "C0:00:00:00:00:01")
