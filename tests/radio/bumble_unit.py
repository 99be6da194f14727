"""A unit in a process of its own: bumble as its host, its controller behind an HCI port of the bench.

python -m tests.radio.bumble_unit TRANSPORT ADDRESS_TYPE [crash|hang|garbage|quit|burst]
"""

import asyncio
import os
import sys
import time

from bumble import att, hci
from bumble.device import Device, DeviceConfiguration
from bumble.gatt import Characteristic, CharacteristicValue, Service
from bumble.transport import open_transport

from tests.radio.unit import ADVERTISEMENT, COUNTER, NAME, SERVICE, VALUE

RANDOM = "C7:00:00:00:00:01"
PROPERTIES = Characteristic.Properties
PERMISSIONS = Characteristic.READABLE | Characteristic.WRITEABLE


class Unit:
    def __init__(self, transport, address_type, mode):
        self.transport, self.mode, self.value = transport, mode, b"\x01\x00"
        self.sent, self.began, self.task = 0, 0.0, None
        self.filling = bytes(240 if mode == "burst" else 0)
        self.device = Device.from_config_with_hci(
            DeviceConfiguration(name=NAME, address=hci.Address(RANDOM)), transport.source, transport.sink
        )
        self.counter = Characteristic(COUNTER, PROPERTIES.NOTIFY, Characteristic.READABLE, bytes(4))
        value = Characteristic(
            VALUE, PROPERTIES.READ | PROPERTIES.WRITE, PERMISSIONS, CharacteristicValue(self.read, self.write)
        )
        self.device.add_service(Service(SERVICE, [value, self.counter]))
        self.counter.on("subscription", self.subscribed)
        self.own = hci.OwnAddressType.PUBLIC if address_type == "public" else hci.OwnAddressType.RANDOM

    def read(self, _):
        if self.mode == "crash":
            print("assertion failed: queue.c:217", flush=True)
            os._exit(42)
        if self.mode == "hang":
            time.sleep(1000)
        if self.mode == "garbage":
            self.transport.sink.on_packet(b"**** panic at 0x0800\r\n")
        return self.value

    def write(self, connection, value):
        if len(value) != 2:
            raise att.ATT_Error(att.ErrorCode.INVALID_ATTRIBUTE_LENGTH)
        self.value = value

    def subscribed(self, connection, notify, indicate):
        if notify:
            self.task = asyncio.get_running_loop().create_task(self.notify(connection))
        elif self.task:
            self.task.cancel()
            print(self.sent, time.monotonic() - self.began, flush=True)

    async def notify(self, connection):
        """Numbered values: every 20 ms, or in a burst as fast as the controller takes them."""
        self.began = time.monotonic()
        queue = self.device.host.le_acl_packet_queue
        while connection.handle in self.device.connections:
            await self.device.notify_subscriber(
                connection, self.counter, self.sent.to_bytes(4, "little") + self.filling
            )
            self.sent += 1
            if self.mode != "burst":
                await asyncio.sleep(0.02)
            elif queue.pending >= 32:
                await queue.drain(connection.handle)

    async def run(self):
        await self.device.power_on()
        if self.mode == "quit":
            sys.exit("no sensor found")
        await self.device.start_advertising(
            own_address_type=self.own,
            advertising_data=ADVERTISEMENT,
            auto_restart=True,
            advertising_interval_min=30,
            advertising_interval_max=30,
        )
        print("up", flush=True)
        await self.transport.source.terminated


async def main(transport, address_type, mode="good"):
    async with await open_transport(transport) as opened:
        await Unit(opened, address_type, mode).run()


if __name__ == "__main__":
    asyncio.run(main(*sys.argv[1:]))
