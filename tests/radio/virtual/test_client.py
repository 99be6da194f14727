"""What bleak's users may expect of any backend, on the virtual radio."""

import asyncio
import inspect

import pytest
from bleak.backends.bluezdbus.client import BleakClientBlueZDBus
from bleak.backends.client import BaseBleakClient
from bleak.exc import BleakDeviceNotFoundError, BleakError, BleakGATTProtocolError
from bumble.gatt import Service

from benchrig.errors import ConnectTimeout
from benchrig.radio.bumble_stack import AttTimeout, BumbleClient
from benchrig.radio.scan import Ear
from benchrig.radio.specify import open_simulated
from tests.radio.virtual.bench import (
    BOTH,
    COMMAND,
    INDICATE,
    LOGGER,
    LONG,
    NOTIFY,
    OWN,
    SPECIAL,
    TEMPERATURE,
    VALUE,
    Bench,
    models,
    reacting,
)

READING = {"properties": "[read]", "value": "7"}


async def test_connect_gives_table_times_and_parameters():
    async with Bench() as bench:
        client = await bench.connect()
        backend = client._backend
        assert client.is_connected
        assert client.mtu_size == 247
        assert backend.discovered_at > backend.connected_at
        assert (backend.connection_interval, backend.latency, backend.supervision_timeout) == (0.015, 0, 0.72)
        assert backend.address_type == "random"
        assert [phy.name for phy in backend.phy] == ["LE_1M", "LE_1M"]


async def test_the_table_is_what_the_device_file_says():
    async with Bench() as bench:
        client = await bench.connect()
        temperature = client.services.get_characteristic(TEMPERATURE)
        assert set(temperature.properties) == {"read", "notify"}
        assert [d.uuid[4:8] for d in temperature.descriptors] == ["2902"]
        assert temperature.service_uuid.startswith("0000181a")
        assert temperature.max_write_without_response_size == 244


async def test_only_the_requested_services():
    async with Bench() as bench:
        client = await bench.connect(services=["181a"])
        assert [service.uuid[4:8] for service in client.services] == ["181a"]


async def test_the_outline_shows_secondary_services_and_includes():
    async with Bench() as bench:
        server = bench.device.server
        before = len(server.attributes)
        secondary = Service("180F", [], primary=False)
        server.add_service(secondary)
        server.add_service(Service("1808", [], included_services=[secondary]))
        client = await bench.connect()
        outline = await client._backend.outline()
    assert [handle for handle, _, _ in outline] == list(range(1, before + 4))
    battery = before + 1
    # Core Vol 3 Part G 3.2: an include is the handles of the service, first and last, and its UUID
    assert [(uuid[4:8], value.hex()) for _, uuid, value in outline[-3:]] == [
        ("2801", "0f18"),
        ("2800", "0818"),
        ("2802", f"{battery:02x}00{battery:02x}000f18"),
    ]
    assert all(value is None for _, uuid, value in outline if uuid[4:8] in ("2902", "2a6e"))


async def test_read_and_write_back():
    async with Bench() as bench:
        client = await bench.connect()
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"
        await client.write_gatt_char(VALUE, b"\x34\x12", response=True)
        assert await client.read_gatt_char(VALUE) == b"\x34\x12"


async def test_a_long_value_comes_whole():
    async with Bench() as bench:
        client = await bench.connect()
        assert await client.read_gatt_char(LONG) == bytes(range(1, 9)) * 64


@pytest.mark.parametrize("length", [0, 20, 243, 244, 245, 246, 247, 488, 512])
async def test_long_writes_of_every_awkward_length(length):
    value = bytes(i & 0xFF for i in range(length))
    async with Bench() as bench:
        client = await bench.connect()
        await client.write_gatt_char(LONG, value, response=True)
        assert await client.read_gatt_char(LONG) == value


async def test_a_write_without_response_that_does_not_fit_is_refused():
    async with Bench() as bench:
        client = await bench.connect()
        await client.write_gatt_char(COMMAND, bytes(244), response=False)
        with pytest.raises(BleakError, match=r"245 bytes.*carries 244"):
            await client.write_gatt_char(COMMAND, bytes(245), response=False)


async def test_notifications_come_in_order():
    async with Bench() as bench:
        client = await bench.connect()
        got = []
        await client.start_notify(NOTIFY, lambda _, data: got.append(bytes(data)))
        for number in range(50):
            await client.write_gatt_char(COMMAND, bytes([number]), response=False)
        await asyncio.sleep(1)
        assert got == [bytes([number]) for number in range(50)]


async def test_no_notification_after_stop():
    async with Bench() as bench:
        client = await bench.connect()
        got = []
        await client.start_notify(TEMPERATURE, lambda _, data: got.append(data))
        await asyncio.sleep(3.5)
        await client.stop_notify(TEMPERATURE)
        before = len(got)
        await asyncio.sleep(5)
        assert before == len(got) == 3


async def test_indications_are_confirmed_one_by_one():
    async with Bench() as bench:
        client = await bench.connect()
        got = []
        await client.start_notify(INDICATE, lambda _, data: got.append(data[0]))
        await asyncio.sleep(5)
        assert got == [0, 1, 2]


@pytest.mark.parametrize(("options", "cccd"), [({}, b"\x01\x00"), ({"force_indicate": True}, b"\x02\x00")])
async def test_notify_or_indicate_where_both_are_there(options, cccd):
    async with Bench() as bench:
        client = await bench.connect()
        await client.start_notify(BOTH, lambda *_: None, **options)
        descriptor = client.services.get_characteristic(BOTH).descriptors[0]
        assert await client.read_gatt_descriptor(descriptor) == cccd


async def test_a_failing_callback_harms_nothing_but_is_reported():
    reported = []
    async with Bench() as bench:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: reported.append(context["exception"]))
        client = await bench.connect()
        await client.start_notify(NOTIFY, lambda *_: 1 / 0)
        await client.write_gatt_char(COMMAND, b"1", response=False)
        await asyncio.sleep(1)
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"
    assert [type(exc) for exc in reported] == [ZeroDivisionError]


async def test_subscribing_without_a_cccd_is_an_error():
    text = reacting(properties="[notify]", value="7", cccd="false")
    async with Bench(text) as bench:
        client = await bench.connect()
        special = client.services.get_characteristic(SPECIAL)
        assert (special.properties, special.descriptors) == (["notify"], [])
        with pytest.raises(BleakError, match="no client characteristic configuration"):
            await client.start_notify(SPECIAL, lambda *_: None)


async def test_subscribing_to_what_cannot_notify_is_an_error():
    async with Bench() as bench:
        client = await bench.connect()
        with pytest.raises(BleakError, match="no notifications or indications"):
            await client.start_notify(VALUE, lambda *_: None)


async def test_an_att_error_keeps_its_code_and_the_link():
    async with Bench(reacting(**READING, on_read="{att_error: 0x81}")) as bench:
        client = await bench.connect()
        with pytest.raises(BleakGATTProtocolError) as caught:
            await client.read_gatt_char(SPECIAL)
        assert caught.value.code == 0x81
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_no_answer_for_30_s_ends_the_link():
    """Core Vol 3 Part F 3.3.3: the transaction time-out is 30 s, and the bearer is of no use after it."""
    async with Bench(reacting(**READING, on_read="{silent: true}")) as bench:
        client = await bench.connect()
        start = bench.now
        with pytest.raises(AttTimeout):
            await client.read_gatt_char(SPECIAL)
        assert bench.now - start == pytest.approx(30)
        await asyncio.sleep(1)
        assert not client.is_connected
        assert len(bench.drops) == 1


async def test_an_att_time_out_is_bleaks_and_pythons():
    assert issubclass(AttTimeout, BleakError)
    assert issubclass(AttTimeout, TimeoutError)


async def test_a_disconnect_in_mid_request_is_a_bleak_error_at_once():
    async with Bench(reacting(**READING, on_read="{disconnect: true}")) as bench:
        client = await bench.connect()
        start = bench.now
        with pytest.raises(BleakError, match="remote user terminated connection"):
            await client.read_gatt_char(SPECIAL)
        assert bench.now - start < 1
        assert client._backend.disconnect_reason.value == 0x13


async def test_a_late_answer_never_satisfies_the_next_request():
    async with Bench(reacting(**READING, on_read="{delay: 1 s}")) as bench:
        client = await bench.connect()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(client.read_gatt_char(SPECIAL), 0.5)
        with pytest.raises(BleakError):
            await client.read_gatt_char(VALUE)
        await asyncio.sleep(2)
        await client.connect()
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_concurrent_requests_get_their_own_answers():
    async with Bench() as bench:
        client = await bench.connect()
        reads = await asyncio.gather(*(client.read_gatt_char(u) for u in (VALUE, LONG, VALUE, LONG)))
        assert [len(value) for value in reads] == [2, 512, 2, 512]


@pytest.mark.parametrize("operation", ["read", "write", "notify", "rssi"])
async def test_an_operation_on_a_dead_link_fails_at_once(operation):
    async with Bench() as bench:
        client = await bench.connect()
        value = client.services.get_characteristic(VALUE)
        await client.disconnect()
        start = bench.now
        with pytest.raises(BleakError):
            await {
                "read": lambda: client._backend.read_gatt_char(value),
                "write": lambda: client._backend.write_gatt_char(value, b"1", True),
                "notify": lambda: client.start_notify(value, lambda *_: None),
                "rssi": lambda: client._backend.read_rssi(),
            }[operation]()
        assert bench.now == start


async def test_the_callback_comes_on_the_users_own_disconnect_too():
    async with Bench() as bench:
        client = await bench.connect()
        await client.disconnect()
        assert len(bench.drops) == 1
        assert not client.is_connected
        assert client._backend.disconnect_reason.value == 0x16
        await client.disconnect()
        assert len(bench.drops) == 1


async def test_connecting_twice_is_an_error():
    async with Bench() as bench:
        client = await bench.connect()
        with pytest.raises(BleakError, match="already connected"):
            await client.connect()


async def test_connecting_again_works():
    async with Bench() as bench:
        client = await bench.connect()
        for _ in range(3):
            await client.disconnect()
            await client.connect()
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


async def test_connect_by_address():
    async with Bench() as bench:
        async with bench.client("C0:11:22:33:44:55") as client:
            assert client.name == "logger"
        with pytest.raises(BleakDeviceNotFoundError):
            await bench.client("C0:11:22:33:44:99", timeout=2).connect()


async def test_a_device_that_no_longer_advertises_times_out():
    async with Bench(LOGGER + "faults: {stop_advertising_after: 2 s}") as bench:
        device = await bench.find()
        await asyncio.sleep(3)
        start = bench.now
        with pytest.raises(TimeoutError):
            await bench.client(device, timeout=5).connect()
        assert bench.now - start == pytest.approx(5, abs=0.1)


async def test_a_device_of_another_radio_is_refused():
    async with Bench() as one, Bench(seed=2) as other:
        with pytest.raises(BleakError, match="another radio"):
            other.client(await one.find())


async def test_rssi_of_a_connection():
    async with Bench() as bench:
        client = await bench.connect()
        readings = [await client._backend.read_rssi() for _ in range(30)]
        assert -58 < sum(readings) / len(readings) < -52
        assert len(set(readings)) > 1


async def test_pairing_opens_an_encrypted_attribute():
    async with Bench(reacting(**READING, encrypted="true")) as bench:
        client = await bench.connect()
        with pytest.raises(BleakGATTProtocolError) as caught:
            await client.read_gatt_char(SPECIAL)
        assert caught.value.code == 0x05
        await client.pair()
        assert await client.read_gatt_char(SPECIAL) == b"\x07"


def test_the_signatures_are_bleaks():
    """Every method takes what bleak's own interface names; a change in bleak has to show here."""
    for name, method in inspect.getmembers(BaseBleakClient, inspect.isfunction):
        if name.startswith("_") or name in ("set_disconnected_callback", "start_notify"):
            continue
        expected = list(inspect.signature(method).parameters)
        assert list(inspect.signature(getattr(BumbleClient, name)).parameters) == expected, name
    own = inspect.signature(BumbleClient.__init__).parameters
    os_backend = inspect.signature(BleakClientBlueZDBus.__init__).parameters
    assert [name for name in os_backend if name != "kwargs"] == [
        name for name in own if name not in ("stack", "stranger", "winrt")
    ]


def test_own_uuid_helper_is_a_uuid():
    assert OWN(2) == VALUE


async def test_a_connection_waits_for_its_turn_beside_its_own_time():
    """A controller makes one connection at a time; the other one is to a device that has fallen silent."""
    text = LOGGER + "others: [{advertising: {connectable: false}}]"
    async with Bench(text) as bench:
        silent, present = await bench.find("other 1"), await bench.find("logger")
        waiting = asyncio.ensure_future(bench.client(silent, timeout=4).connect())
        await asyncio.sleep(0.1)
        client = bench.client(present, timeout=2)
        await client.connect()
        assert client.is_connected
        with pytest.raises(TimeoutError):
            await waiting


async def test_radio_connections_wait_for_their_turn_too():
    radio, ear = await open_simulated(models(LOGGER + "others: [{advertising: {connectable: false}}]")), Ear()
    async with radio.scanning(ear.add):
        await asyncio.sleep(1)
    units = {sighting.name: sighting for sighting in ear.heard.values()}
    waiting = asyncio.ensure_future(radio.connect(units["other 1"], 4))
    await asyncio.sleep(0.1)
    assert (await radio.connect(units["logger"], 2)).is_up
    with pytest.raises(ConnectTimeout):
        await waiting
    await radio.close()
