"""What a simulated device does: strict server, reactions, values."""

import asyncio
import statistics

import pytest
from bleak.exc import BleakError, BleakGATTProtocolError
from bumble import att
from bumble.core import UUID

from benchrig.errors import InternalError
from benchrig.radio.virtual.device_spec import APPEARANCE
from tests.radio.virtual.bench import (
    BATTERY,
    COMMAND,
    INDICATE,
    LOGGER,
    LONG,
    NOTIFY,
    SPECIAL,
    TEMPERATURE,
    VALUE,
    Bench,
    characteristic,
    reacting,
)


async def att_error(operation):
    with pytest.raises(BleakGATTProtocolError) as caught:
        await operation
    return caught.value.code


async def test_readable_and_writable_bits_are_enforced():
    """Core Vol 3 Part F 3.4.1.1: 0x02 Read Not Permitted, 0x03 Write Not Permitted."""
    async with Bench() as bench:
        client = await bench.connect()
        assert await att_error(client.read_gatt_char(COMMAND)) == 0x02
        assert await att_error(client.read_gatt_char(NOTIFY)) == 0x02
        assert await att_error(client.write_gatt_char(TEMPERATURE, b"1", response=True)) == 0x03
        assert await att_error(client.write_gatt_char(COMMAND, b"1", response=True)) == 0x03
        assert await att_error(client.write_gatt_char(TEMPERATURE, bytes(400), response=True)) == 0x03


async def test_a_value_read_by_its_type_has_to_be_readable():
    async with Bench() as bench:
        await bench.connect()
        client = next(iter(bench.stack.device.connections.values())).gatt_client
        request = att.ATT_Read_By_Type_Request(starting_handle=1, ending_handle=0xFFFF, attribute_type=UUID(COMMAND))
        assert (await client.send_request(request)).error_code == 0x02


async def test_a_write_command_to_what_takes_none_changes_nothing():
    async with Bench() as bench:
        client = await bench.connect()
        await client.write_gatt_char(VALUE, b"\x09\x00", response=False)
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


@pytest.mark.parametrize(("value", "code"), [(b"1", 0x0D), (b"123", 0x0D)])
async def test_a_written_value_has_to_have_the_length_of_the_format(value, code):
    async with Bench() as bench:
        client = await bench.connect()
        assert await att_error(client.write_gatt_char(VALUE, value, response=True)) == code


async def test_a_written_value_out_of_range_is_refused():
    """Core Specification Supplement: 0xFF Out of Range."""
    text = reacting(properties="[read, write]", value="7", valid_max="100")
    async with Bench(text) as bench:
        client = await bench.connect()
        assert await att_error(client.write_gatt_char(SPECIAL, b"\x65", response=True)) == 0xFF
        await client.write_gatt_char(SPECIAL, b"\x64", response=True)
        assert await client.read_gatt_char(SPECIAL) == b"\x64"


async def test_no_check_takes_anything():
    text = reacting(properties="[read, write]", value="7", on_write="{check: false}")
    async with Bench(text) as bench:
        client = await bench.connect()
        await client.write_gatt_char(SPECIAL, b"12345", response=True)
        assert await client.read_gatt_char(SPECIAL) == b"12345"


async def test_a_write_that_is_not_stored_and_sets_another():
    text = reacting(properties="[read, write]", value="7", on_write="{store: false, set: {value: 300}}")
    async with Bench(text) as bench:
        client = await bench.connect()
        await client.write_gatt_char(SPECIAL, b"\x09", response=True)
        assert await client.read_gatt_char(SPECIAL) == b"\x07"
        assert await client.read_gatt_char(VALUE) == (300).to_bytes(2, "little")


async def test_a_reboot_is_silent_and_takes_its_time():
    text = reacting(properties="[write]", value="7", on_write="{reboot: 3 s}")
    async with Bench(text) as bench:
        client = await bench.connect()
        start = bench.now
        with pytest.raises(BleakError, match="connection timeout"):
            await client.write_gatt_char(SPECIAL, b"\x09", response=True)
        assert client._backend.disconnect_reason.value == 0x08
        await client.connect()
        assert client._backend.connected_at - start >= 3
        assert await client.read_gatt_char(VALUE) == b"\x01\x00"


def rebooting(delay="0 ms"):
    """It starts again on a write, and has something to say every 10 ms."""
    return reacting(
        properties="[write, write without response, notify]",
        value="{counter: {}}",
        notify="{period: 10 ms}",
        on_write=f"{{delay: {delay}, reboot: 3 s}}",
    )


async def test_a_farewell_under_way_when_the_device_reboots_stops_no_clock():
    async with Bench(rebooting()) as bench:
        client = await bench.connect()
        await client.write_gatt_char(SPECIAL, b"\x01", response=False)
        await client.disconnect()
        assert not client.is_connected


@pytest.mark.parametrize("delay", [1, 4, 7, 10, 12, 20, 25, 30, 37])
async def test_notifications_under_way_when_the_device_reboots_stop_no_clock(delay):
    async with Bench(rebooting(f"{delay} ms")) as bench:
        client = await bench.connect()
        await client.start_notify(SPECIAL, lambda *_: None)
        await asyncio.sleep(0.2)
        await client.write_gatt_char(SPECIAL, b"\x01", response=False)
        start = bench.now
        while client.is_connected:
            await asyncio.sleep(0.01)
        assert bench.now - start == pytest.approx(0.75, abs=0.1)


async def test_a_reboot_can_bring_another_table():
    text = reacting(properties="[write]", value="7", on_write="{reboot: 3 s}") + (
        "services_after_reboot:\n  - service: battery\n    characteristics:\n"
        "      - {characteristic: battery level, properties: [read], value: 40 %}\n"
    )
    async with Bench(text) as bench:
        client = await bench.connect()
        with pytest.raises(BleakError):
            await client.write_gatt_char(SPECIAL, b"\x09", response=True)
        await client.connect()
        assert client.services.get_characteristic(VALUE) is None
        assert await client.read_gatt_char(BATTERY) == b"\x28"


async def test_a_delay_comes_before_the_error():
    text = reacting(properties="[read]", value="7", on_read="{delay: 2 s, att_error: 0x80}")
    async with Bench(text) as bench:
        client = await bench.connect()
        start = bench.now
        assert await att_error(client.read_gatt_char(SPECIAL)) == 0x80
        assert 2 <= bench.now - start < 2.1


async def test_a_fault_of_the_simulation_is_answered_and_fails_the_run():
    """0x0E Unlikely Error, not 30 s of silence."""
    bench = Bench()
    await bench.__aenter__()
    client = await bench.connect()
    bench.device.characteristics["value"].take = lambda: 1 / 0
    assert await att_error(client.read_gatt_char(VALUE)) == 0x0E
    with pytest.raises(InternalError, match="ZeroDivisionError"):
        await bench.air.close()


async def test_a_notification_is_cut_to_what_the_link_carries():
    async with Bench() as bench:
        client = await bench.connect()
        got = []
        await client.start_notify(NOTIFY, lambda _, data: got.append(bytes(data)))
        await bench.device.characteristics["updates"].send_to_subscribers(bytes(300))
        await asyncio.sleep(1)
        assert got == [bytes(244)]


@pytest.mark.parametrize(("length", "code"), [(513, 0x0D), (514, 0x0D)])
async def test_a_value_has_at_most_512_bytes(length, code):
    """Core Vol 3 Part F 3.2.9, also where one request holds more."""
    async with Bench(LOGGER.replace("address:", "mtu: 517\naddress:", 1)) as bench:
        client = await bench.connect()
        before = await client.read_gatt_char(LONG)
        assert await att_error(client.write_gatt_char(LONG, bytes(length), response=True)) == code
        assert await client.read_gatt_char(LONG) == before
        await client.write_gatt_char(LONG, bytes(512), response=True)
        assert await client.read_gatt_char(LONG) == bytes(512)


async def test_the_added_appearance_is_the_advertised_one():
    text = "device: one\nadvertising: {data: {name: one, appearance: 0x0480}}\n"
    async with Bench(text) as bench:
        client = await bench.connect("one")
        assert await client.read_gatt_char(APPEARANCE) == b"\x80\x04"


async def test_a_confirmation_after_the_subscription_has_ended_is_no_news(caplog):
    async with Bench(LOGGER.replace("count: 3", "count: 100")) as bench:
        client = await bench.connect()
        for number in range(40):
            await client.start_notify(INDICATE, lambda *_: None)
            await asyncio.sleep(0.05 + 0.003 * number)
            await client.stop_notify(INDICATE)
        await asyncio.sleep(1.0)
    assert [record.message for record in caplog.records if record.levelname != "DEBUG"] == []


async def test_the_mtu_is_the_devices():
    async with Bench(LOGGER.replace("rssi:", "mtu: 100\nrssi:")) as bench:
        client = await bench.connect()
        assert client.mtu_size == 100
        assert len(await client.read_gatt_char(LONG)) == 512


async def test_a_value_read_in_parts_is_one_value():
    text = characteristic(
        characteristic="6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40",
        properties="[read]",
        **{"as": "hex"},
        value=f"{{sequence: ['{'11' * 400}', '{'22' * 400}']}}",
    )
    async with Bench(text) as bench:
        client = await bench.connect("one")
        reads = [bytes(await client.read_gatt_char(VALUE)) for _ in range(3)]
        assert reads == [b"\x11" * 400, b"\x22" * 400, b"\x11" * 400]


async def test_a_wrong_cccd_value_is_refused():
    """0xFD Client Characteristic Configuration Descriptor Improperly Configured, 0x0D for its length."""
    async with Bench() as bench:
        client = await bench.connect()
        descriptor = client.services.get_characteristic(NOTIFY).descriptors[0]
        assert await att_error(client._backend.write_gatt_descriptor(descriptor, b"\x02\x00")) == 0xFD
        assert await att_error(client._backend.write_gatt_descriptor(descriptor, b"\x01")) == 0x0D


async def test_descriptors_have_their_values():
    text = reacting(
        properties="[read]",
        value="7",
        descriptors="[{descriptor: characteristic user description, value: Inside}, {descriptor: valid range, value: "
        "{lower: 1, upper: 9}}, {descriptor: '2904', raw: '04 00 AD 27 01 00 00'}]",
    )
    async with Bench(text) as bench:
        client = await bench.connect()
        descriptors = client.services.get_characteristic(SPECIAL).descriptors
        values = [bytes(await client.read_gatt_descriptor(descriptor)) for descriptor in descriptors]
        assert values == [b"Inside", b"\x01\x09", bytes.fromhex("0400AD27010000")]


async def test_generic_access_is_always_there():
    async with Bench() as bench:
        client = await bench.connect()
        assert await client.read_gatt_char("2a00") == b"logger"


async def samples(value, count=20, form="as: sint16, scale: 0.01, unit: °C", period="1 s"):
    keys = dict(part.split(": ") for part in form.split(", "))
    text = characteristic(
        characteristic=VALUE, properties="[notify]", value=value, notify=f"{{period: {period}, count: {count}}}", **keys
    )
    async with Bench(text) as bench:
        client = await bench.connect("one")
        got = []
        await client.start_notify(VALUE, lambda _, data: got.append(int.from_bytes(data, "little", signed=True)))
        await asyncio.sleep(4000)
        return got


async def test_noise_has_its_mean_and_spread():
    got = await samples("{noise: {mean: 4 °C, sd: 0.5 °C}}", 2000)
    assert statistics.mean(got) == pytest.approx(400, abs=5)
    assert statistics.stdev(got) == pytest.approx(50, abs=3)


async def test_noise_stays_within_the_range_of_the_format():
    got = await samples("{noise: {mean: 4 °C, sd: 10 °C}}", 200, "as: sint16, unit: °C, valid_min: -1, valid_max: 6")
    assert (min(got), max(got)) == (-1, 6)


async def test_a_ramp_rises_and_stays():
    got = await samples("{ramp: {from: 0 °C, to: 10 °C, over: 8 s}}", 20)
    assert got == sorted(got)
    assert got[-1] == 1000
    assert 100 < got[1] - got[0] < 150


async def test_a_counter_wraps():
    assert await samples("{counter: {start: 2, modulo: 4}}", 6, "as: sint16") == [2, 3, 0, 1, 2, 3]


async def test_a_sequence_begins_again():
    assert await samples("{sequence: [1 °C, {constant: 2 °C}]}", 3) == [100, 200, 100]


@pytest.mark.parametrize(
    ("form", "octets"), [("float32", "0000c03f"), ("float64", "000000000000f83f"), ("medfloat16", "0ff0")]
)
async def test_a_number_of_any_format_can_be_served(form, octets):
    text = characteristic(characteristic=VALUE, **{"as": form}, properties="[read]", value="1.5")
    async with Bench(text) as bench:
        client = await bench.connect("one")
        assert (await client.read_gatt_char(VALUE)).hex() == octets


async def test_a_counter_begins_anew_in_every_air():
    assert await samples("{counter: {}}", 2, "as: sint16") == await samples("{counter: {}}", 2, "as: sint16")


async def test_fields_of_a_structure_have_patterns_of_their_own():
    text = characteristic(
        characteristic="heart rate measurement",
        properties="[notify]",
        value="{heart_rate: {counter: {start: 60 bpm}}, rr_interval: [1 s, 0.5 s]}",
        notify="{period: 1 s, count: 2}",
    )
    async with Bench(text) as bench:
        client = await bench.connect("one")
        got = []
        await client.start_notify("2a37", lambda _, data: got.append(bytes(data).hex()))
        await asyncio.sleep(5)
        assert got == ["103c00040002", "103d00040002"]


async def test_periods_do_not_drift():
    async with Bench() as bench:
        client = await bench.connect()
        got = []
        await client.start_notify(TEMPERATURE, lambda *_: got.append(bench.now))
        await asyncio.sleep(1000)
        assert len(got) in (999, 1000)
        assert (got[-1] - got[0]) / (len(got) - 1) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("dark", [False, True])
async def test_closing_with_a_link_up_leaves_nothing(dark):
    async with Bench() as bench:
        client = await bench.connect()
        await client.start_notify(TEMPERATURE, lambda *_: None)
        if dark:
            bench.air.air.blackhole()
    assert bench.drops


async def test_several_devices_at_once():
    text = "devices:\n" + "".join(
        f"  - device: unit {n}\n    services: [{{service: battery, characteristics: [{{characteristic: battery level, "
        f"properties: [read], value: {n} %}}]}}]\n"
        for n in range(8)
    )
    async with Bench(text) as bench:
        clients = [await bench.connect(f"unit {n}") for n in range(8)]
        values = await asyncio.gather(*(client.read_gatt_char("2a19") for client in clients))
        assert [value[0] for value in values] == list(range(8))
