"""The look at radios, in this process: controllers behind TCP, and a stand-in for BlueZ on a bus of its own."""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import socket
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from benchrig.errors import StationError
from benchrig.radio import attached
from benchrig.radio import bluez as bluez_module
from benchrig.readiness import probing
from benchrig.readiness.checks import Attached, Check, Word
from tests.radio.hci.controller import meddled
from tests.radio.hci.test_hci import logger, unchanged
from tests.radio.running import served_air

Said = Callable[[], list[Check]]


@pytest.fixture
def said(capsysbinary: pytest.CaptureFixture[bytes]) -> Said:
    """The checks that have been said since."""

    def read() -> list[Check]:
        words = [msgspec.json.decode(line, type=Word) for line in capsysbinary.readouterr().out.splitlines()]
        return [word for word in words if isinstance(word, Check)]

    return read


async def look(what: Any) -> None:
    with contextlib.suppress(probing.Over):
        await what


async def test_a_controller_and_what_it_hears(said: Said, tmp_path: Path):
    async with served_air(tmp_path, logger()) as air:
        await look(probing.look_at_hci(f"tcp:{air.ports[0].door.address}", 0.3))
    controller, hears = said()
    assert (controller.check, controller.state) == ("controller", "yes")
    assert controller.found.startswith("HCI 5.0")
    assert hears.found.startswith("1 device in 0.3 s, the strongest at ")


async def test_silence_is_no_proof(said: Said):
    async with meddled(unchanged) as address:
        await look(probing.look_at_hci(f"tcp:{address}", 0.1))
    check = said()[-1]
    assert (check.check, check.state, check.blocks) == ("hears", "unknown", False)


async def test_nothing_listens(said: Said):
    await look(probing.look_at_hci("tcp:127.0.0.1:1", 0.1))
    (check,) = said()
    assert (check.check, check.state, check.blocks) == ("controller", "no", True)
    assert "connection refused" in check.found
    assert check.advice


async def test_no_such_port(said: Said):
    await look(probing.look_at_hci("serial:/dev/nonexistent,1000000", 0.1))
    (check,) = said()
    assert (check.check, check.state) == ("port", "no")
    assert check.found.endswith("there is no such port")


async def test_a_port_that_this_user_may_not_open(said: Said, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "line").touch()
    monkeypatch.setattr(attached.os, "access", lambda *_: False)
    await look(probing.look_at_hci(f"serial:{tmp_path}/line", 0.1))
    (check,) = said()
    assert check.found.endswith("this user may not open it")
    assert "group" in check.advice


async def test_no_bus(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/nobody")
    await look(probing.look_at_host("*", 0.1))
    (check,) = said()
    assert (check.radio, check.check, check.found) == ("host", "D-Bus", "the system's D-Bus is not running")


async def test_a_bus_that_does_not_answer(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setattr(bluez_module, "ANSWER_WITHIN", 0.1)
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/silent")
    with socket.socket(socket.AF_UNIX) as silent:
        silent.bind(f"{tmp_path}/silent")
        silent.listen()
        await look(probing.look_at_host("*", 0.1))
    (check,) = said()
    assert (check.check, check.found) == ("D-Bus", "the system's D-Bus does not answer")


async def test_what_else_is_attached(capsysbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch):
    def fail() -> list[attached.Controller]:
        raise StationError("it cannot be listed", advice="install it")

    monkeypatch.setattr(attached, "on_serial", lambda: [attached.Controller("hci:serial:/dev/x", "a port", False)])
    monkeypatch.setattr(attached, "on_usb", fail)
    await probing.look_at_attached("", 0.1)
    words = [msgspec.json.decode(line, type=Word) for line in capsysbinary.readouterr().out.splitlines()]
    port, usb = [word for word in words if isinstance(word, Attached)]
    assert (port.radio, port.usable, "group of the port" in port.advice) == ("hci:serial:/dev/x", False, True)
    assert usb == Attached("hci:usb", "it cannot be listed", None, "install it")


CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><listen>unix:path={path}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy></busconfig>"""


@contextlib.asynccontextmanager
async def bus(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[None]:
    """A system bus for this test."""
    program = shutil.which("dbus-daemon")
    if program is None:
        pytest.skip("there is no dbus-daemon")
    (folder / "bus.conf").write_text(CONFIG.format(path=folder / "bus"))
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={folder}/bus")
    daemon = await asyncio.create_subprocess_exec(
        program, f"--config-file={folder}/bus.conf", "--nofork", "--print-address", stdout=asyncio.subprocess.PIPE
    )
    assert daemon.stdout is not None
    await daemon.stdout.readline()  # it listens now
    try:
        yield
    finally:
        daemon.terminate()
        await daemon.wait()


@contextlib.asynccontextmanager
async def bluez(
    folder: Path, monkeypatch: pytest.MonkeyPatch, *, linked: str = "", **adapters: dict[str, Any]
) -> AsyncIterator[None]:
    """A stand-in for BlueZ with these adapters and their properties; `linked` names a device that is connected.
    Objects and properties: BlueZ doc/org.bluez.Adapter.rst."""

    async def nothing(*_: object) -> None:
        """In place of listening, which needs the real BlueZ."""

    async with bus(folder, monkeypatch):
        monkeypatch.setattr(probing, "hears", nothing)
        service = await MessageBus(bus_type=BusType.SYSTEM).connect()
        objects = {f"/org/bluez/{name}": {"org.bluez.Adapter1": _adapter(has)} for name, has in adapters.items()}
        if linked:
            device = {"Address": Variant("s", linked), "Name": Variant("s", "unit"), "Connected": Variant("b", True)}
            objects["/org/bluez/hci0/dev_1"] = {"org.bluez.Device1": device}

        def answer(message: Message) -> Message | None:
            if message.message_type is MessageType.METHOD_CALL and message.member == "GetManagedObjects":
                return Message.new_method_return(message, "a{oa{sa{sv}}}", [objects])
            return None

        service.add_message_handler(answer)
        await service.request_name("org.bluez")
        try:
            yield
        finally:
            service.disconnect()
            await service.wait_for_disconnect()


GOOD = {"Powered": True, "Roles": ["central", "peripheral"], "Discovering": False}


def _adapter(has: dict[str, Any]) -> dict[str, Variant]:
    signatures = {bool: "b", str: "s", list: "as"}
    return {
        name: Variant(signatures[type(value)], value) for name, value in {"Address": "02:00:00:00:00:01", **has}.items()
    }


async def test_adapters_that_can_test(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    def refused(channel: int) -> None:
        raise PermissionError(1, "no")

    monkeypatch.setattr("benchrig.radio.bluez_kernel._bound", refused)
    async with bluez(tmp_path, monkeypatch, hci0=GOOD, hci1=GOOD):
        await look(probing.look_at_host("*", 0.1))
    checks = said()
    rights = [check for check in checks if check.check == "pairing"]
    assert {check.state for check in checks if check not in rights} == {"yes"}
    assert [(check.state, check.blocks) for check in rights] == [("no", False)] * 2
    assert all(
        "CAP_NET_RAW the reason" in check.found and "setcap cap_net_admin,cap_net_raw+ep" in check.advice
        for check in rights
    )
    assert [check.check for check in checks if check.radio == "host"] == ["D-Bus", "Bluetooth service", "adapter"]
    each = ["address", "switched on", "central", "not in use", "pairing"]
    assert [check.check for check in checks if check.radio == "host:hci1"] == each


@pytest.mark.parametrize(
    ("has", "check", "found"),
    [
        (GOOD | {"Powered": False}, "switched on", "the adapter is switched off"),
        (GOOD | {"Roles": ["peripheral"]}, "central", "the adapter cannot act as central"),
    ],
)
async def test_what_blocks_an_adapter(has, check, found, said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    async with bluez(tmp_path, monkeypatch, hci0=has):
        await look(probing.look_at_host("", 0.1))
    last = said()[-1]
    assert (last.radio, last.check, last.found, last.blocks) == ("host:hci0", check, found, True)
    assert last.advice


@pytest.mark.parametrize(
    ("has", "linked", "found", "blocks"),
    [
        # beside another scan a run with its default times ends as the station's failure
        (GOOD | {"Discovering": True}, "", "another program is scanning with this adapter", True),
        (GOOD, "C4:00:00:00:00:01", "connected to unit", False),
    ],
)
async def test_what_is_in_the_way(
    has, linked, found, blocks, said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    async with bluez(tmp_path, monkeypatch, hci0=has, linked=linked):
        await look(probing.look_at_host("hci0", 0.1))
    last = next(check for check in said() if check.check == "not in use")
    assert (last.state, last.found, last.blocks) == ("no", found, blocks)


async def test_an_adapter_that_is_not_there(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    async with bluez(tmp_path, monkeypatch, hci0=GOOD):
        await look(probing.look_at_host("hci7", 0.1))
    assert (said()[-1].found, said()) == ("there is no adapter 'hci7'", [])


async def test_no_adapter_at_all(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    async with bluez(tmp_path, monkeypatch):
        await look(probing.look_at_host("*", 0.1))
    assert said()[-1].found == "this computer has no Bluetooth adapter"


async def test_no_service(said: Said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    async with bus(tmp_path, monkeypatch):
        await look(probing.look_at_host("*", 0.1))
    last = said()[-1]
    assert (last.check, last.found, last.blocks) == ("Bluetooth service", "the Bluetooth service is not running", True)
