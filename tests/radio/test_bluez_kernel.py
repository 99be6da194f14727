"""What the kernel's channels say, octet by octet (BlueZ doc/mgmt-api.txt; Core Vol 4 Part E 7.7, Vol 3 Part H 3.5)."""

from __future__ import annotations

import asyncio
import struct

import pytest

from benchrig.errors import StationError
from benchrig.radio import bluez_kernel
from benchrig.radio.bluez_kernel import Heard, Kernel, Key
from benchrig.radio.security import Features
from tests.radio.bluez import UNIT

OCTETS, IDENTITY = bytes.fromhex("0100000000C0"), "C0:00:00:00:00:09"
HANDLE = b"\x40\x00"


def news(event: int, data: bytes, index: int = 0) -> bytes:
    return struct.pack("<HHH", event, index, len(data)) + data


def pairing(kind: int, pdu: str, handle: bytes = HANDLE) -> bytes:
    octets = bytes.fromhex(pdu)
    length = len(octets).to_bytes(2, "little")
    return news(kind, handle + bytes(2) + length + b"\x06\x00" + octets)


def event(code: int, data: str) -> bytes:
    octets = bytes.fromhex(data)
    return news(3, bytes((code, len(octets))) + octets)


CONNECTED = event(0x3E, f"0a 00 4000 00 01 {OCTETS.hex()}" + "00" * 20)
MONITOR = [
    ([event(0x08, "00 4000 01")], {"encrypted": True}),
    ([event(0x08, "06 4000 00")], {"encrypted": False, "refused": 0x06}),
    ([event(0x05, "00 4000 3D")], {"encrypted": False, "refused": 0x3D}),
    ([event(0x05, "00 4000 13")], {"encrypted": False, "refused": None}),
    ([pairing(4, "01 03 00 09 10 05 07")], {"requests": 1, "failed": None}),
    ([pairing(5, "02 00 00 0d 07 01 03")], {"features": Features(0, 0, 0x0D, 7, 1, 3), "agreed": None}),
    ([pairing(4, "01 03 00 09 10 05 07"), pairing(5, "02 00 00 0d 07 01 03")], {"agreed": (True, 7)}),
    ([pairing(4, "01 03 00 01 10 05 07"), pairing(5, "02 00 00 0d 10 01 03")], {"agreed": (False, 16)}),
    ([pairing(4, "01 03 00 01"), pairing(5, "02 00 00 0d 10 01 03")], {"requests": 1, "agreed": None}),
    ([pairing(5, "05 09"), pairing(4, "05 08")], {"failed": ("repeated attempts", "device")}),
    ([pairing(4, "05 04")], {"failed": ("confirm value failed", "bench")}),
    ([pairing(5, "05 77")], {"failed": ("reason 0x77", "device")}),
    ([pairing(5, "05 09", b"\x41\x00")], {"failed": None}),
]
KEY = "01" + OCTETS.hex() + "02 {kind:02x} 00 07" + "00" * 26
CONTROL = [
    (news(0x0A, bytes.fromhex(KEY.format(kind=0))), {"key": Key(False, False, 7)}),
    (news(0x0A, bytes.fromhex(KEY.format(kind=1))), {"key": Key(False, True, 7)}),
    (news(0x0A, bytes.fromhex(KEY.format(kind=2))), {"key": Key(True, False, 7)}),
    (news(0x0A, bytes.fromhex(KEY.format(kind=3))), {"key": Key(True, True, 7)}),
    (news(0x0A, bytes.fromhex(KEY.format(kind=4))), {"key": Key(True, False, 7, debug=True)}),
    (news(0x0A, bytes.fromhex(KEY.format(kind=3)), index=1), {"key": None}),
    (news(0x0C, OCTETS + b"\x02\x04"), {"ended": 4}),
    (news(0x18, b"\x01" + OCTETS + bytes.fromhex("0900000000C0 02") + bytes(16)), {"identity": IDENTITY}),
]


async def heard_of() -> tuple[Kernel, Heard]:
    kernel = Kernel("hci0")
    return kernel, kernel.listen(UNIT)


@pytest.mark.parametrize(("packets", "told"), MONITOR)
async def test_what_the_monitor_channel_shows(packets: list[bytes], told: dict[str, object]) -> None:
    kernel, heard = await heard_of()
    for packet in [CONNECTED, *packets]:
        kernel._on_monitor(packet)
    assert {name: getattr(heard, name) for name in told} == told


@pytest.mark.parametrize(("packet", "told"), CONTROL)
async def test_what_the_management_channel_tells(packet: bytes, told: dict[str, object]) -> None:
    kernel, heard = await heard_of()
    kernel._on_control(packet)
    assert {name: getattr(heard, name) for name in told} == told
    assert "00" * 16 not in repr(heard)


async def test_a_unit_that_tells_its_identity_goes_by_both_names() -> None:
    kernel, heard = await heard_of()
    kernel._on_control(CONTROL[-1][0])
    kernel._on_control(news(0x0C, bytes.fromhex("0900000000C0") + b"\x02\x01"))
    assert heard.ended == 1


async def test_a_command_is_answered_refused_or_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    kernel, sent = Kernel("hci3"), []

    class Channel:
        def send(self, packet: bytes) -> None:
            sent.append(packet)

    kernel._control = Channel()  # type: ignore[assignment]
    monkeypatch.setattr(bluez_kernel, "ANSWER_WITHIN", 0.01)
    for status, answer in ((0, b"\x01\x02"), (0x14, b"")):
        asyncio.get_running_loop().call_soon(
            kernel._on_control, news(1, b"\x2d\x00" + bytes((status,)) + b"\x01\x02", 3)
        )
        if answer:
            assert await kernel.command(0x2D, b"\x01") == answer
        else:
            with pytest.raises(StationError, match="0x14"):
                await kernel.command(0x2D, b"\x01")
    with pytest.raises(StationError, match="does not answer"):
        await kernel.command(0x2D, b"\x01")
    assert sent[0] == bytes.fromhex("2d00 0300 0100 01")


async def test_who_may_open_nothing_hears_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(channel: int) -> None:
        raise PermissionError(1, "no")

    monkeypatch.setattr(bluez_kernel, "_bound", refused)
    kernel = Kernel("hci0")
    await kernel.open()
    assert (kernel.manages, kernel.sees) == (False, False)
    kernel.catch_up()
    kernel.close()
