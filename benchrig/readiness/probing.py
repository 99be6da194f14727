"""Looks at radios, in a process of its own: `python -m benchrig.readiness.probing host|hci|attached DETAIL SECONDS`.

One JSON line a word (checks.Word): what it is about to check, and what it has found. It may hang or be ended by the
system at any point; whoever started it then knows where.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.errors import BenchrigError
from benchrig.radio.scan import Ear
from benchrig.readiness.checks import Attached, Beginning, Check, State, Word, unfit_stack
from benchrig.source.problem import counted

if TYPE_CHECKING:
    from benchrig.radio.bluez import Bluez
    from benchrig.radio.radio import Radio

_RFKILL = Path("/sys/class/rfkill")
_KERNEL_ADAPTERS = Path("/sys/class/bluetooth")


def say(word: Word) -> None:
    sys.stdout.buffer.write(msgspec.json.encode(word) + b"\n")
    sys.stdout.flush()


class Over(Exception):
    """A check blocks the radio; what would come next cannot be looked at."""


class Looking:
    """The checks of one radio."""

    def __init__(self, radio: str) -> None:
        self.radio = radio

    @contextlib.contextmanager
    def at(self, check: str) -> Iterator[Callable[..., None]]:
        """Say what is found of a check with the callable that comes; an error of benchrig is a 'no' that blocks."""
        say(Beginning(self.radio, check))

        def found(state: State, text: str, advice: str = "", *, blocks: bool = False) -> None:
            say(Check(self.radio, check, state, text, advice, blocks))
            if blocks:
                raise Over

        try:
            yield found
        except BenchrigError as error:
            found("no", error.message, error.advice, blocks=True)


async def look_at_host(wanted: str, listen: float) -> None:
    """The operating system's Bluetooth: one adapter, the default one for '', all of them for '*'."""
    name = f"host:{wanted}" if wanted not in ("", "*") else "host"
    if sys.platform != "linux":
        await hears(name, listen, lambda: _host(wanted.strip("*")))
        return
    for adapter in await _adapters(Looking(name), wanted):
        with contextlib.suppress(Over):
            await _look_at_adapter(adapter, listen)


async def _adapters(looking: Looking, wanted: str) -> list[str]:
    """Those that are meant, once BlueZ has been reached."""
    from benchrig.radio.bluez import Bluez
    from benchrig.radio.host import program_version

    with looking.at("D-Bus") as found:
        bluez = await Bluez.reach()
        found("yes", await program_version("dbus-daemon") or "the system bus answers")
    async with _closing(bluez):
        with looking.at("Bluetooth service") as found:
            present = await bluez.adapters()
            version = (await program_version("bluetoothctl")).rpartition(" ")[2]
            found("yes", f"BlueZ {version}".strip())
        with looking.at("adapter") as found:
            _find_adapter(wanted.strip("*"), present, found)
    return present if wanted == "*" else [wanted or present[0]]


def _find_adapter(wanted: str, present: list[str], found: Callable[..., None]) -> None:
    from benchrig.radio.foreign import RESTART_SERVICE

    listed = ", ".join(present)
    if not present:
        kernel = sorted(each.name for each in _KERNEL_ADAPTERS.glob("hci*"))
        if kernel:
            advice = f"the kernel has {', '.join(kernel)}, the service does not: {RESTART_SERVICE}"
        else:
            advice = _unblock() or "plug one in, or see 'dmesg' for a missing driver or firmware"
        found("no", "this computer has no Bluetooth adapter", advice, blocks=True)
    elif wanted and wanted not in present:
        found("no", f"there is no adapter '{wanted}'", f"present: {listed}", blocks=True)
    else:
        found("yes", listed)


async def _look_at_adapter(adapter: str, listen: float) -> None:
    from benchrig.radio.bluez import Bluez

    looking = Looking(f"host:{adapter}")
    with looking.at("address") as found:
        bluez = await Bluez.open(adapter)
        has = await bluez.properties()
        found("yes", str(has.get("Address", "")))
    async with _closing(bluez):
        _look_at_properties(looking, has)
        with looking.at("not in use") as found:
            in_use = await _look_at_use(bluez, found)
    with looking.at("pairing") as found:
        await _look_at_rights(adapter, found)
    await hears(looking.radio, listen, lambda: _host(adapter), in_use)


def _look_at_properties(looking: Looking, has: Mapping[str, Any]) -> None:
    with looking.at("switched on") as found:
        if has.get("Powered"):
            found("yes", "")
        else:
            found("no", "the adapter is switched off", _unblock() or "bluetoothctl power on", blocks=True)
    with looking.at("central") as found:
        roles = has.get("Roles")
        if roles is None:
            found("unknown", "this BlueZ does not say what the adapter can be")
        elif "central" in roles:
            found("yes", f"can be {', '.join(roles)}")
        else:
            found("no", "the adapter cannot act as central", "use an adapter with Bluetooth LE", blocks=True)


async def _look_at_use(bluez: Bluez, found: Callable[..., None]) -> str:
    """What to do about it, '' when nobody uses it. A run waits for another benchrig, and hears too little beside another
    scan; a link of another program hides one unit only."""
    from benchrig.radio.adapter_lock import holder

    user = holder(bluez.adapter)
    linked = [device.name or device.address for device in await bluez.devices() if device.connected]
    advice = ""
    if user is not None:
        advice = "wait until it has ended, or end it"
        found("no", f"{user} uses it", advice, blocks=True)
    elif (await bluez.properties()).get("Discovering"):
        advice = "end that scan: beside it a unit is heard once in about 11 s"
        found("no", "another program is scanning with this adapter", advice, blocks=True)
    elif linked:
        advice = "if it is a unit: end the program that holds it, or bluetoothctl disconnect"
        found("no", f"connected to {', '.join(linked[:5])}", advice)
    else:
        found("yes", "nobody scans, nothing is connected")
    return advice


async def _look_at_rights(adapter: str, found: Callable[..., None]) -> None:
    """What a pairing can tell here. Everything else works without these rights."""
    from benchrig.radio.bluez_kernel import Kernel
    from benchrig.radio.security_offers import MANAGING, SEEING, granting

    kernel = Kernel(adapter)
    try:
        await kernel.open()
        missing = [right for right, has in ((MANAGING, kernel.manages), (SEEING, kernel.sees)) if not has]
    finally:
        kernel.close()
    if missing:
        found("no", "; ".join(right.lost for right in missing), granting(missing))
    else:
        found("yes", "tells kinds of keys, and why a pairing fails")


def _unblock() -> str:
    """What to do when the system keeps Bluetooth off the air; '' when it does not."""
    for each in _RFKILL.glob("rfkill*"):
        with contextlib.suppress(OSError):
            if (each / "type").read_text().strip() != "bluetooth":
                continue
            if (each / "hard").read_text().strip() == "1":
                return "a hardware switch turns Bluetooth off: turn it on"
            if (each / "soft").read_text().strip() == "1":
                return "rfkill unblock bluetooth, then bluetoothctl power on"
    return ""


async def look_at_hci(transport: str, listen: float) -> None:
    """A controller of its own: 'usb:0', 'serial:PORT,SPEED', 'tcp:HOST:PORT'."""
    from benchrig.radio.attached import serial_port
    from benchrig.radio.hci import open_hci

    looking = Looking(f"hci:{transport}")
    if (unfit := unfit_stack(looking.radio)) is not None:
        say(unfit)
        raise Over
    kind, _, place = transport.partition(":")
    if kind == "serial":
        with looking.at("port") as found:
            found("yes", serial_port(place.partition(",")[0]))

    async def opened() -> Radio:
        with looking.at("controller") as found:
            radio = await open_hci(looking.radio, transport, within=0)
            found("yes", radio.facts.get("controller", "it answers"))
            return radio

    await hears(looking.radio, listen, opened)


async def hears(name: str, listen: float, opened: Callable[[], Awaitable[Radio]], in_use: str = "") -> None:
    """Whether anything is heard over a radio. `in_use` is the advice for silence where others use it."""
    looking = Looking(name)
    say(Beginning(name, "hears"))
    try:
        radio = await opened()
    except BenchrigError as error:
        say(Check(name, "hears", "no", error.message, error.advice, blocks=True))
        raise Over from error
    async with contextlib.AsyncExitStack() as resources:
        resources.push_async_callback(radio.close)
        with looking.at("hears") as found:
            found(*heard(await ear_of(radio, listen), listen, in_use))


async def ear_of(radio: Radio, listen: float) -> Ear:
    """What is heard in so many seconds."""
    ear = Ear()
    async with radio.scanning(ear.add):
        await asyncio.sleep(listen)
    return ear


def heard(ear: Ear, listen: float, in_use: str = "") -> tuple[State, str, str]:
    """The state, the text and the advice. Silence proves nothing: there may be nobody to hear."""
    if not ear.heard:
        return (
            "unknown",
            f"nothing was heard in {listen:g} s",
            in_use or "bring an advertising device close, and check the adapter's antenna",
        )
    count = counted(len(ear.heard), "device")
    best = max(ear.heard.values(), key=lambda each: each.strength)
    return "yes", f"{count} in {listen:g} s, the strongest at {best.level_text}", ""


async def _host(adapter: str) -> Radio:
    from benchrig.radio.host import open_host

    return await open_host(f"host:{adapter}" if adapter else "host", adapter)


async def look_at_attached(_: str, listen: float) -> None:
    """What --radio hci could be on this machine."""
    from benchrig.radio.attached import on_serial, on_usb
    from benchrig.radio.hci_errors import explain

    if (unfit := unfit_stack("hci")) is not None:
        say(Attached("hci", f"bumble {unfit.found}", None, unfit.advice))
    for kind, listed in (("serial", on_serial), ("usb", on_usb)):
        say(Beginning(f"hci:{kind}", "list"))
        _, rights = explain(PermissionError(errno.EACCES, ""), kind)
        try:
            for each in listed():
                say(Attached(each.radio, each.what, each.usable, rights if each.usable is False else ""))
        except BenchrigError as error:
            say(Attached(f"hci:{kind}", error.message, None, error.advice))


@contextlib.asynccontextmanager
async def _closing(bluez: Bluez) -> AsyncIterator[None]:
    try:
        yield
    finally:
        await bluez.close()


_LOOKS = {"host": look_at_host, "hci": look_at_hci, "attached": look_at_attached}


def main(arguments: list[str]) -> None:
    what, detail, seconds = arguments
    with contextlib.suppress(Over):
        asyncio.run(_LOOKS[what](detail, float(seconds)))


if __name__ == "__main__":
    main(sys.argv[1:])
