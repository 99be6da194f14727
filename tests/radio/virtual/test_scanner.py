import asyncio
import inspect
import itertools
import statistics

import pytest
from bleak import BleakScanner
from bleak.backends.bluezdbus.scanner import BleakScannerBlueZDBus
from bleak.exc import BleakBluetoothNotAvailableError

from benchrig.radio.bumble_stack import BumbleScanner
from tests.radio.virtual.bench import LOGGER, Bench

BEACON = """
device: beacon
address: '5C:F3:70:00:00:01'
address_type: public
advertising: {connectable: false, interval: 200 ms, data: {name: beacon, manufacturer: {company: 0xFFFF, data: '0102'}}}
rssi: {mean: -70 dBm}
"""


def test_the_signature_is_bleaks():
    own = inspect.signature(BumbleScanner.__init__).parameters
    os_backend = inspect.signature(BleakScannerBlueZDBus.__init__).parameters
    assert [name for name in os_backend if name != "kwargs"] == [name for name in own if name not in ("stack", "cb")]


async def test_an_active_scan_joins_data_and_scan_response():
    async with Bench() as bench:
        device, heard = (await bench.scan())[0]
        assert (device.address, device.name) == ("C0:11:22:33:44:55", "logger")
        assert heard.local_name == "logger"
        assert heard.tx_power == 4
        assert heard.service_uuids == ["0000181a-0000-1000-8000-00805f9b34fb"]


async def test_a_passive_scan_hears_no_scan_response():
    async with Bench() as bench:
        heard = [advertisement for _, advertisement in await bench.scan(mode="passive")]
        assert {advertisement.tx_power for advertisement in heard} == {None}
        assert {advertisement.local_name for advertisement in heard} == {"logger"}


async def test_one_active_scanner_makes_the_scan_active_for_both():
    async with Bench() as bench:
        heard = []
        async with bench.scanner(lambda _, a: heard.append(a.tx_power), "active"):
            await bench.scan(mode="passive")
            before = len(heard)
            await asyncio.sleep(1)
        assert set(heard) == {4}
        assert len(heard) > before


async def test_the_raw_octets_are_kept():
    async with Bench() as bench:
        _, heard = (await bench.scan())[0]
        raw = heard.platform_data[0]
        assert raw.data == bytes.fromhex("020106 03031a18 07096c6f67676572")
        assert raw.scan_response == bytes.fromhex("020a04")
        assert raw.connectable


async def test_a_beacon_with_a_public_address_is_not_connectable():
    async with Bench(BEACON) as bench:
        device, heard = (await bench.scan())[0]
        assert device.details.address_type == "public"
        assert not heard.platform_data[0].connectable
        assert heard.manufacturer_data == {0xFFFF: b"\x01\x02"}
        with pytest.raises(TimeoutError):
            await bench.client(device, timeout=3).connect()


async def test_the_signal_strength_is_the_devices_own():
    async with Bench(BEACON + "others: [{rssi: {mean: -40 dBm}}]") as bench:
        heard = {(device.name, a.rssi) for device, a in await bench.scan()}
        assert heard == {("beacon", -70), ("other 1", -40)}


async def test_the_spread_of_the_signal_strength():
    async with Bench() as bench:
        values = [a.rssi for _, a in await bench.scan(60)]
        assert statistics.mean(values) == pytest.approx(-55, abs=0.5)
        assert statistics.stdev(values) == pytest.approx(2, abs=0.3)


async def test_events_come_every_interval_plus_a_delay():
    """100 ms and 0 to 10 ms of delay: about 571 events in 60 s (Core Vol 6 Part B 4.4.2.2.1)."""
    async with Bench() as bench:
        times = [a.platform_data[0].at for _, a in await bench.scan(60)]
        gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
        assert len(times) == pytest.approx(571, abs=4)
        assert min(gaps) >= 0.1 - 1e-9
        assert max(gaps) <= 0.110 + 1e-9


async def test_a_scanner_forgets_when_it_starts_again():
    async with Bench() as bench:
        scanner = bench.scanner()
        for _ in range(2):
            await scanner.start()
            assert scanner.discovered_devices == []
            await asyncio.sleep(1)
            await scanner.stop()
            assert len(scanner.discovered_devices) == 1


async def test_nothing_is_reported_after_stop():
    async with Bench() as bench:
        heard = []
        scanner = bench.scanner(lambda device, said: heard.append(said))
        await scanner.start()
        await asyncio.sleep(1)
        await scanner.stop()
        before = len(heard)
        await asyncio.sleep(10)
        assert len(heard) == before > 0


async def test_service_filter():
    async with Bench(LOGGER + "others: [{count: 3}]") as bench:
        options = {"backend": BumbleScanner, "stack": bench.stack}
        found = await BleakScanner.discover(1.0, service_uuids=["0000181A-0000-1000-8000-00805F9B34FB"], **options)
        assert [device.name for device in found] == ["logger"]


async def test_five_hundred_others_do_not_hide_the_device():
    text = LOGGER + "others: [{count: 500, rssi: {mean: -85 dBm, spread: 5 dB}}]"
    async with Bench(text) as bench:
        heard = await bench.scan(0.5)
        assert len({device.address for device, _ in heard}) == 501
        assert len(bench.air.devices) == 1
        assert (await bench.connect()).is_connected


async def test_a_lost_controller_is_no_bluetooth():
    async with Bench() as bench:
        bench.stack.host.on_transport_lost()
        with pytest.raises(BleakBluetoothNotAvailableError):
            await bench.scan()


async def test_lost_advertising_events():
    async with Bench(advertising_loss=0.5) as bench:
        assert 35 < len(await bench.scan(10)) < 60
