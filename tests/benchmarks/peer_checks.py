"""The twelve checks of testplans/twelve_checks.yaml as they are written by hand with pytest and bleak.

It is run by tests/benchmarks/peer.py, not with the tests. The fixture `radio` stands in for an adapter. Times come
from the loop, so that it runs on the virtual clock too.
"""

import asyncio
import re
import statistics
import struct

import pytest
import pytest_asyncio
from bleak import BleakClient, BleakScanner

from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner

PREFIX, FIRMWARE = "Sensor-", "2.4.1"
MODEL, SERIAL, REVISION, BATTERY = (
    f"0000{short}-0000-1000-8000-00805f9b34fb" for short in ("2a24", "2a25", "2a26", "2a19")
)
SERVICE, COMMAND, SAMPLES = (f"7b1f000{number}-4d1e-4b6f-9a57-2f3c1de0a001" for number in (1, 2, 3))
TABLE = {
    MODEL: {"read"},
    SERIAL: {"read"},
    REVISION: {"read"},
    BATTERY: {"read", "notify"},
    COMMAND: {"read", "write"},
    SAMPLES: {"notify"},
}

pytestmark = pytest.mark.asyncio(loop_scope="module")


def now():
    return asyncio.get_running_loop().time()


def is_sensor(_, advertisement):
    return (advertisement.local_name or "").startswith(PREFIX)


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def heard(radio):
    """Everything heard of the sensor in one second, after at most five of waiting for it."""
    reports, first = [], asyncio.Event()

    def report(device, advertisement):
        if is_sensor(device, advertisement):
            reports.append((now(), device, advertisement))
            first.set()

    started = now()
    async with BleakScanner(report, backend=BumbleScanner, stack=radio):
        await asyncio.wait_for(first.wait(), 5)
        await asyncio.sleep(1)
    return started, reports


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def connection(heard, radio):
    """One connection for all checks, with three attempts, and how long it took."""
    device = heard[1][-1][1]
    client = BleakClient(device, timeout=5, backend=BumbleClient, stack=radio)
    for attempt in range(3):
        started = now()
        try:
            await client.connect()
            break
        except Exception:
            if attempt == 2:
                raise
            await asyncio.sleep(0.25)
    yield client, now() - started
    await client.disconnect()


async def text_of(client, uuid):
    return bytes(await asyncio.wait_for(client.read_gatt_char(uuid), 5)).decode().rstrip("\0")


async def test_01_it_is_found_in_time(heard):
    started, reports = heard
    assert reports[0][0] - started <= 5


async def test_02_its_signal_is_strong_enough(heard, record_property):
    median = statistics.median(advertisement.rssi for _, _, advertisement in heard[1])
    record_property("rssi", median)
    assert -75 <= median <= -30


async def test_03_it_advertises_its_service(heard):
    assert SERVICE in {uuid for _, _, advertisement in heard[1] for uuid in advertisement.service_uuids}


async def test_04_it_connects_in_time(connection, record_property):
    record_property("connect", connection[1])
    assert connection[1] <= 3


async def test_05_its_table_is_right(connection):
    found = {char.uuid: set(char.properties) for service in connection[0].services for char in service.characteristics}
    for uuid, properties in TABLE.items():
        assert uuid in found, f"{uuid} is missing"
        assert found[uuid] == properties, f"{uuid} has other properties"


async def test_06_model(connection):
    assert await text_of(connection[0], MODEL) == "TS-20"


async def test_07_serial_number(connection, record_property):
    serial = await text_of(connection[0], SERIAL)
    record_property("serial", serial)
    assert re.fullmatch(r"TS20-\d{6}", serial)


async def test_08_firmware(connection):
    assert await text_of(connection[0], REVISION) == FIRMWARE


async def test_09_battery(connection, record_property):
    data = await asyncio.wait_for(connection[0].read_gatt_char(BATTERY), 5)
    record_property("battery", data[0])
    assert 80 <= data[0] <= 100


async def test_10_a_command_reads_back(connection):
    client = connection[0]
    await asyncio.wait_for(client.write_gatt_char(COMMAND, b"\x01\x05", response=True), 5)
    assert bytes(await asyncio.wait_for(client.read_gatt_char(COMMAND), 5)) == b"\x01\x05"


async def test_11_samples_come_regularly_and_in_range(connection, record_property):
    client = connection[0]
    samples, enough = [], asyncio.Event()

    def sample(_, data):
        samples.append((now(), struct.unpack("<h", data)[0] / 100))
        if len(samples) == 20:
            enough.set()

    await client.start_notify(SAMPLES, sample)
    await asyncio.wait_for(enough.wait(), 3)
    await client.stop_notify(SAMPLES)
    rate = 19 / (samples[19][0] - samples[0][0])
    record_property("rate", rate)
    assert 15 <= rate <= 60
    outside = [value for _, value in samples if not 15 <= value <= 35]
    assert not outside, f"{len(outside)} samples outside, the first {outside[0]} °C"


async def test_12_it_advertises_again_after_disconnect(connection, radio):
    await connection[0].disconnect()
    again = await BleakScanner.find_device_by_filter(is_sensor, timeout=3, backend=BumbleScanner, stack=radio)
    assert again is not None
