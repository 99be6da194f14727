"""The air against the faults of the stock controller and link, one test a fault, and faults made on purpose."""

import asyncio
import contextlib
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from bleak.exc import BleakError
from bumble import hci
from bumble.core import ConnectionError as RefusedError

from benchrig.errors import InternalError
from benchrig.radio.virtual import DROPPED
from benchrig.radio.virtual.pace import exchange_time, packet_time
from tests.radio.virtual.bench import BATTERY, COMMAND, LOGGER, LONG, NOTIFY, TEMPERATURE, VALUE, Bench, characteristic

PUBLIC = LOGGER.replace("address: 'C0:11:22:33:44:55'", "address: '5C:F3:70:11:22:33'\naddress_type: public")
# Faster than a link with long intervals can carry.
FAST = characteristic(
    characteristic="battery level", properties="[notify]", value="{counter: {}}", notify="{period: 1 ms}"
).replace("value:", "as: uint24\n        value:")


def connection_of(bench):
    return next(iter(bench.stack.device.connections.values()))


async def test_a_device_with_a_public_address_can_talk():
    async with Bench(PUBLIC) as bench:
        client = await bench.connect()
        assert client._backend.address_type == "public"
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_a_cancelled_connect_leaves_no_ghost():
    async with Bench(LOGGER + "faults: {stop_advertising_after: 1 s}") as bench:
        device = await bench.find()
        await asyncio.sleep(2)
        with pytest.raises(TimeoutError):
            await bench.client(device, timeout=1).connect()
        bench.device.controller.advertiser.until = None
        bench.air.air.band.start(bench.device.controller.advertiser)
        await asyncio.sleep(2)
        assert bench.stack.device.connections == {}
        client = bench.client(device)
        await client.connect()
        assert client.is_connected


async def test_cancelling_nothing_is_refused():
    """Core Vol 4 Part E 7.8.13: Command Disallowed when no connection is being created."""
    async with Bench() as bench:
        with pytest.raises(hci.HCI_Error) as caught:
            await bench.stack.device.send_sync_command(hci.HCI_LE_Create_Connection_Cancel_Command())
        assert caught.value.error_code == 0x0C


async def test_an_unknown_command_is_answered():
    async with Bench() as bench:
        with pytest.raises(hci.HCI_Error) as caught:
            await bench.stack.device.send_async_command(
                hci.HCI_Read_Remote_Version_Information_Command(connection_handle=1)
            )
        assert caught.value.error_code == 0x01


async def test_set_phy_reaches_both_ends_at_once():
    async with Bench() as bench:
        client = await bench.connect()
        start = bench.now
        await connection_of(bench).set_phy([hci.Phy.LE_2M], [hci.Phy.LE_2M])
        await asyncio.sleep(0.1)
        assert bench.now - start < 0.2
        assert [phy.name for phy in client._backend.phy] == ["LE_2M", "LE_2M"]
        phy = await bench.device.connections[0].get_phy()
        assert (phy.tx_phy, phy.rx_phy) == (2, 2)


async def test_data_length_is_answered_at_both_ends():
    async with Bench() as bench:
        await bench.connect()
        await connection_of(bench).set_data_length(100, 1000)
        await asyncio.sleep(0.1)
        assert connection_of(bench).data_length.max_tx_octets == 100
        assert bench.device.connections[0].data_length.max_rx_octets == 100


async def test_the_connection_parameters_are_real_at_both_ends():
    async with Bench() as bench:
        client = await bench.connect()
        for connection in (connection_of(bench), bench.device.connections[0]):
            assert connection.parameters.connection_interval == 15
            assert connection.parameters.supervision_timeout == 720
        await connection_of(bench).update_parameters(30, 50, 1, 4000)
        await asyncio.sleep(0.2)
        for connection in (connection_of(bench), bench.device.connections[0]):
            assert connection.parameters.connection_interval == 50
            assert connection.parameters.peripheral_latency == 1
        assert client._backend.connection_interval == 0.05


async def test_packets_of_251_octets():
    async with Bench() as bench:
        assert bench.stack.host.le_acl_packet_queue.max_packet_size == 251


async def test_a_read_takes_two_connection_events():
    async with Bench() as bench:
        client = await bench.connect()
        await connection_of(bench).update_parameters(100, 100, 0, 4000)
        await asyncio.sleep(1)
        start = bench.now
        for _ in range(10):
            await client.read_gatt_char(VALUE)
        assert bench.now - start == pytest.approx(10 * 2 * 0.1, abs=0.11)


async def test_peripheral_latency_delays_the_central_only():
    async with Bench() as bench:
        client = await bench.connect()
        await connection_of(bench).update_parameters(100, 100, 4, 6000)
        await asyncio.sleep(1)
        start = bench.now
        await client.read_gatt_char(VALUE)
        await client.read_gatt_char(VALUE)
        assert 0.5 < bench.now - start < 1.3


async def test_throughput_is_what_the_air_allows():
    """15 ms interval, LE 1M, 251 octets: 6 whole exchanges an event, 780.8 kbit/s of values (computed from Core Vol 6
    Part B packet times)."""
    text = characteristic(
        characteristic="battery level",
        properties="[notify]",
        **{"as": "hex"},
        raw=f"'{'AA' * 244}'",
        notify="{period: 1 ms}",
    )
    async with Bench(text) as bench:
        client = await bench.connect("one")
        got = []
        await client.start_notify(BATTERY, lambda *_: got.append(bench.now))
        await asyncio.sleep(4)
        seconds = got[-1] - got[0]
        assert (len(got) - 1) * 244 * 8 / seconds / 1000 == pytest.approx(780.8, rel=0.01)


@pytest.mark.parametrize(
    ("octets", "phy", "packet", "exchange"),
    [(27, 1, 296, 676), (251, 1, 2088, 2468), (27, 2, 152, 496), (251, 2, 1048, 1392), (27, 3, 2448, 3468)],
)
def test_times_on_air(octets, phy, packet, exchange):
    """Core Vol 6 Part B: packet and exchange in µs for LE 1M, LE 2M and LE coded S=8."""
    assert packet_time(octets, phy) == pytest.approx(packet * 1e-6)
    assert exchange_time(octets, phy) == pytest.approx(exchange * 1e-6)


@pytest.mark.slow
async def test_a_fast_notifier_does_not_flood_the_air():
    async with Bench(FAST) as bench:
        client = await bench.connect("one")
        await connection_of(bench).set_data_length(27, 328)
        await connection_of(bench).update_parameters(7.5, 7.5, 0, 4000)
        got = []
        await client.start_notify(BATTERY, lambda _, data: got.append(int.from_bytes(data, "little")))
        await asyncio.sleep(3)
        assert got == list(range(len(got)))
        assert len(got) > 2_000
        assert bench.device.host.le_acl_packet_queue.pending < 100


async def test_supervision_time_out_at_both_ends():
    async with Bench() as bench:
        client = await bench.connect()
        reasons = []
        bench.device.connections[0].on("disconnection", reasons.append)
        start = bench.now
        bench.air.air.blackhole()
        with pytest.raises(BleakError, match="connection timeout"):
            await client.read_gatt_char(VALUE)
        assert bench.now - start == pytest.approx(0.72)
        await asyncio.sleep(0)
        assert (client._backend.disconnect_reason.value, reasons) == (0x08, [0x08])


async def test_loss_on_air_is_delay_and_never_a_hole():
    async with Bench(FAST, loss=0.3) as bench:
        client = await bench.connect("one")
        got = []
        await client.start_notify(BATTERY, lambda _, data: got.append(int.from_bytes(data, "little")))
        await asyncio.sleep(5)
        assert got == list(range(len(got)))
        assert len(got) > 20


async def test_total_loss_ends_the_link():
    async with Bench() as bench:
        client = await bench.connect()
        bench.air.faults.loss = 1.0
        with pytest.raises(BleakError, match="connection timeout"):
            await client.read_gatt_char(VALUE)


async def test_extra_latency():
    async with Bench() as bench:
        client = await bench.connect()
        bench.air.faults.latency = 1.0
        start = bench.now
        await client.read_gatt_char(VALUE)
        assert 2 <= bench.now - start < 2.1


async def test_an_answer_that_never_comes():
    async with Bench() as bench:
        client = await bench.connect()
        bench.air.faults.fate = lambda pdu: DROPPED if pdu.att_opcode == 0x0B else None
        start = bench.now
        with pytest.raises(TimeoutError):
            await client.read_gatt_char(VALUE)
        assert 30 <= bench.now - start < 30.1


async def test_an_answer_that_comes_late():
    async with Bench() as bench:
        client = await bench.connect()
        bench.air.faults.fate = lambda pdu: 2.0 if pdu.att_opcode == 0x0B else None
        start = bench.now
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"
        assert 2 <= bench.now - start < 2.1


@pytest.mark.parametrize("octets", ["0100040009", "03000400010a", "01000400ff"])
async def test_a_malformed_answer_ends_the_link(octets):
    """Octets that are no ATT PDU, or no answer to anything: an error within the ATT time-out, and no failed run."""
    async with Bench() as bench:
        client = await bench.connect()
        malformed = bytes.fromhex(octets)
        bench.air.faults.fate = lambda pdu: malformed if pdu.att_opcode == 0x0B else None
        with pytest.raises(BleakError):
            await client.read_gatt_char(VALUE)
        await asyncio.sleep(1)
        assert not client.is_connected


def garbled(seed):
    """A fate that spoils one in twenty PDUs of the device: a bit, its end, its ATT part, or all of it."""
    rng = random.Random(seed)

    def fate(pdu):
        if not pdu.to_central or rng.random() > 0.05:
            return None
        data, at = bytearray(pdu.data), rng.randrange(1, len(pdu.data))
        flipped = bytes(data[:at]) + bytes((data[at] ^ 1 << rng.randrange(8),)) + bytes(data[at + 1 :])
        noise = rng.randbytes(rng.randrange(30))
        as_att = len(noise).to_bytes(2, "little") + b"\x04\x00" + noise
        return rng.choice([flipped, bytes(data[:at]), as_att, noise + b"\x00"])

    return fate


@pytest.mark.parametrize("seed", range(40))
async def test_a_device_that_talks_nonsense_harms_only_its_own_link(seed):
    async with Bench(fate=garbled(seed)) as bench:
        with contextlib.suppress(BleakError, TimeoutError):
            await procedures(bench)
        bench.air.faults.fate = None
        assert await (await bench.connect()).read_gatt_char("2a00") == b"logger"


async def test_an_error_response_that_names_no_error():
    async with Bench() as bench:
        client = await bench.connect()
        bench.air.faults.fate = lambda pdu: bytes.fromhex("05000400010a000000") if pdu.att_opcode == 0x0B else None
        with pytest.raises(BleakError, match="names no error"):
            await client.read_gatt_char(VALUE)


async def test_the_devices_refusals_are_used_up():
    async with Bench(LOGGER + "faults: {refuse_connections: 2}") as bench:
        device = await bench.find()
        for _ in range(2):
            with pytest.raises(BleakError, match="did not accept the connection"):
                await bench.client(device).connect()
        client = bench.client(device)
        await client.connect()
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_a_device_that_hangs_up():
    async with Bench(LOGGER + "faults: {disconnect_after: 2 s}") as bench:
        client = await bench.connect()
        await asyncio.sleep(3)
        assert client._backend.disconnect_reason.value == 0x13
        await client.connect()
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_exceptions_in_the_receive_path_fail_the_air():
    bench = Bench()
    await bench.__aenter__()
    bench.device.controller.on_packet(b"\x01")
    with pytest.raises(InternalError, match="virtual radio failed"):
        await bench.air.close()


async def procedures(bench):
    """Every kind of procedure once."""
    device = await bench.find()
    client = bench.client(device, timeout=10)
    try:
        await client.connect()
        await client.read_gatt_char(VALUE)
        await client.write_gatt_char(VALUE, b"\x02\x00", response=True)
        await client.read_gatt_char(LONG)
        await client.write_gatt_char(LONG, bytes(300), response=True)
        got = asyncio.Event()
        await client.start_notify(NOTIFY, lambda *_: got.set())
        await client.write_gatt_char(COMMAND, b"x", response=False)
        async with asyncio.timeout(5):
            await got.wait()
        await client.stop_notify(NOTIFY)
    finally:
        await client.disconnect()


@pytest.mark.slow
async def test_killing_the_link_at_every_pdu_hangs_nothing():
    async with Bench() as bench:
        await procedures(bench)
        count = bench.air.air.pdus
    assert count > 40
    for number in range(1, count + 1):
        async with Bench(kill_at=number) as bench:
            start = bench.now
            with contextlib.suppress(BleakError, TimeoutError):
                await procedures(bench)
            assert bench.now - start < 20, f"PDU {number}"


TRACE = """
import asyncio, sys
from benchrig.radio.virtual import clock
from tests.radio.virtual.bench import LOGGER, Bench
from tests.radio.virtual.test_air import procedures
async def main():
    async with Bench(LOGGER + "others: [{count: 20, rssi: {spread: 4 dB}}]", seed=int(sys.argv[1]), loss=0.1) as bench:
        bench.air.air.trace = []
        print([(d.address, a.rssi, round(a.platform_data[0].at, 9)) for d, a in await bench.scan(2)])
        await procedures(bench)
        print(bench.air.air.trace)
clock.run(main())
"""


def trace(seed, hash_seed):
    root = Path(__file__).parents[3]
    environment = os.environ | {"PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(root)}
    done = subprocess.run([sys.executable, "-c", TRACE, seed], env=environment, capture_output=True, check=True)
    return done.stdout


@pytest.mark.slow
def test_a_seed_gives_the_same_trace_in_every_process():
    first = trace("1", "0")
    assert len(first) > 3000
    assert trace("1", "12345") == first
    assert trace("2", "0") != first


def test_bumble_names_its_own_errors():
    """The backend tells bumble's errors from Python's of the same name."""
    assert not issubclass(RefusedError, ConnectionError)


async def test_temperature_helper_is_in_the_table():
    async with Bench() as bench:
        client = await bench.connect()
        assert len(await client.read_gatt_char(TEMPERATURE)) == 2
