"""`--radio` text -> what to open. Importing this loads no Bluetooth library: `check` uses it too."""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig import collector
from benchrig.errors import UsageError
from benchrig.radio.lock_file import WITHIN

if TYPE_CHECKING:
    from benchrig.console.log import Keeping
    from benchrig.radio.beside import Beside
    from benchrig.radio.bonds import Bonds
    from benchrig.radio.port.choice import PortChoice
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual import Faults
    from benchrig.radio.virtual.device_spec import Simulated

# Into the record of a run whose traffic was captured.
_CAPTURED = "made; it holds all that went over the radio, keys and secret values too"
KINDS = "host, host:ADAPTER, hci:usb:N, hci:serial:PORT[,SPEED], hci:tcp:HOST:PORT, virtual:FILE[,FILE…]"
_CONTROLLER = {
    "usb": (re.compile(r"\d+|[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}([/#].+)?"), "hci:usb:0, or hci:usb:VENDOR:PRODUCT in hex"),
    "serial": (re.compile(r"[^,]+(,\d+)?(,(rtscts|dsrdtr|delay|resync))*"), "hci:serial:/dev/ttyUSB0,1000000"),
    "tcp": (re.compile(r".+:\d{1,5}"), "hci:tcp:127.0.0.1:9000"),
}


@dataclass(frozen=True)
class RadioChoice:
    """A radio that has been named but not opened."""

    kind: str
    adapter: str = ""  # what the system calls it, '' for the default; or where a controller of its own is: 'usb:0'
    # Of a virtual radio:
    files: tuple[Path, ...] = ()  # device files
    ports: tuple[PortChoice, ...] = ()  # HCI ports
    air: str | None = None  # the name of its air, where the device files do not say
    devices: tuple[Simulated, ...] = ()  # beside those of the files
    faults: Faults | None = None  # what goes wrong on its air
    # the seconds that another benchrig is waited for which has the radio
    wait: float = WITHIN
    called: str = ""  # the words that it is named with where its devices were taken out of its files

    @classmethod
    def parse(
        cls, text: str, ports: Sequence[str] = (), starts: Sequence[str] = (), air: str | None = None
    ) -> RadioChoice:
        """Raises UsageError for text that names no radio, and for ports (and the programs beside them) and an air that
        are none or go with no virtual radio."""
        kind, _, rest = text.partition(":")
        if kind == "virtual":
            return cls._virtual(rest, ports, starts, air)
        if air:
            raise UsageError(f"--air goes with a virtual radio, not with '{text}'", advice="--radio virtual:FILE")
        if ports or starts:
            raise UsageError(f"--port and --start go with a virtual radio, not with '{text}'", advice="--radio virtual")
        if kind == "host":
            return cls("host", adapter=rest)
        if kind == "hci":
            return cls("hci", adapter=_controller(rest))
        raise UsageError(f"unknown radio '{text}'", advice=f"one of {KINDS}")

    @classmethod
    def _virtual(cls, rest: str, ports: Sequence[str], starts: Sequence[str], air: str | None) -> RadioChoice:
        from benchrig.radio.port.choice import parse_ports

        files = tuple(Path(part) for part in rest.split(",") if part)
        if not files and not ports:
            advice = "--radio virtual:FILE[,FILE…], or --radio virtual --port tcp:127.0.0.1:9001"
            raise UsageError("a virtual radio needs its device files, or a port", advice=advice)
        return cls("virtual", files=files, ports=parse_ports(ports, starts), air=air)

    @property
    def simulated(self) -> bool:
        return self.kind == "virtual"

    def __str__(self) -> str:
        if self.called:
            return self.called
        detail = self.adapter or ",".join([*(path.name for path in self.files), *map(str, self.ports)])
        return f"{self.kind}:{detail}" if detail else self.kind


def _controller(text: str) -> str:
    """Where a controller is, checked: 'usb:0', 'serial:/dev/ttyUSB0,1000000', 'tcp:127.0.0.1:9000'."""
    transport, _, place = text.partition(":")
    if transport not in _CONTROLLER:
        raise UsageError(f"unknown transport '{transport}' in 'hci:{text}'", advice="one of usb, serial, tcp")
    pattern, example = _CONTROLLER[transport]
    if not pattern.fullmatch(place):
        raise UsageError(f"'hci:{text}' names no controller", advice=f"for example: {example}")
    return text


def radio_opener(
    choice: RadioChoice,
    *,
    seed: int = 0,
    capture: Path | None = None,
    keeping: Callable[[], Keeping] | None = None,
    station: str | None = None,
) -> Callable[[], Awaitable[Radio]]:
    """What opens the radio. Device files are read here already: PlanError before anything is opened. `keeping` says,
    when it is opened, where its consoles are kept; without it they are not. `station` is the name of the one whose bonds
    and identity the radio has; without it both are new, and gone with the radio. UsageError for a capture that would
    write over a file."""
    if capture and (capture.is_file() or capture.is_symlink()):
        raise UsageError(f"the file {capture} already exists", advice="remove it, or name another for --capture")
    opener = _opener(choice, seed, capture, keeping, station)

    async def opened() -> Radio:
        radio = await opener()
        if capture:
            radio.facts = {**radio.facts, "capture": _CAPTURED}
        collector.loaded()
        return radio

    return opened


def _opener(
    choice: RadioChoice,
    seed: int,
    capture: Path | None,
    keeping: Callable[[], Keeping] | None,
    station: str | None,
) -> Callable[[], Awaitable[Radio]]:
    if choice.kind == "virtual":
        return _virtual_opener(choice, seed, capture, keeping, station)
    if choice.kind == "hci":
        return lambda: _open_hci(choice, capture, station)
    return lambda: _open_host(choice)


async def _open_host(choice: RadioChoice) -> Radio:
    from benchrig.radio.host import open_host

    return await open_host(str(choice), choice.adapter, within=choice.wait)


async def _open_hci(choice: RadioChoice, capture: Path | None, station: str | None) -> Radio:
    from benchrig.radio.bond_store import open_store
    from benchrig.radio.hci import open_hci

    bonds = None if station is None else open_store(station)
    return await open_hci(str(choice), choice.adapter, capture=capture, bonds=bonds, within=choice.wait)


def _virtual_opener(
    choice: RadioChoice,
    seed: int,
    capture: Path | None,
    keeping: Callable[[], Keeping] | None,
    station: str | None,
) -> Callable[[], Awaitable[Radio]]:
    from benchrig.radio.bonds import MemoryBonds, StationIdentity
    from benchrig.radio.virtual import load_devices
    from benchrig.source.problem import Problems

    problems = Problems()
    devices = [*choice.devices, *load_devices(choice.files, problems, any_air=choice.air is not None)]
    problems.raise_if_any()

    return lambda: open_simulated(
        devices,
        name=str(choice),
        seed=seed,
        faults=choice.faults,
        capture=capture,
        ports=choice.ports,
        keeping=keeping() if keeping else None,
        air=choice.air,
        bonds=MemoryBonds(StationIdentity.simulated(station or "")),
    )


async def open_simulated(
    devices: Sequence[Simulated],
    *,
    name: str = "virtual",
    seed: int = 0,
    faults: Faults | None = None,
    capture: Path | None = None,
    ports: Sequence[PortChoice] = (),
    keeping: Keeping | None = None,
    air: str | None = None,
    bonds: Bonds | None = None,
) -> Radio:
    """A radio on an air of its own with these devices, and with ports for others; their consoles are kept where
    `keeping` says; without it they are not. `air` is the name of one, in place of what the devices ask
    for."""
    from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner
    from benchrig.radio.offers import CANNOT
    from benchrig.radio.port.opening import open_ports
    from benchrig.radio.port.radio import PortedRadio
    from benchrig.radio.virtual import conditions_of, open_air
    from benchrig.radio.virtual.device_spec import DeviceSpec
    from benchrig.radio.virtual.wired import wired

    conditions = conditions_of(devices, air)
    simulated: list[Beside] = []
    alone = not ports and sum(isinstance(device, DeviceSpec) for device in devices) == 1
    async with contextlib.AsyncExitStack() as resources:
        resources.callback(_close_consoles, simulated)
        around = await open_air(
            devices,
            seed=seed,
            faults=faults,
            capture=capture,
            conditions=conditions,
            bonds=bonds,
            made=lambda device: simulated.append(wired(device, keeping, alone=alone)),
        )
        resources.push_async_callback(around.close)
        opened = await open_ports(around.air, ports, keeping, alone=not devices)
        resources.push_async_callback(opened.close)
        return PortedRadio(
            name,
            simulated=True,
            seed=seed,
            cannot=CANNOT["virtual"],
            bonds=around.stack.bonds,
            stack=around.stack,
            scanner_options={"backend": BumbleScanner, "stack": around.stack},
            client_options={"backend": BumbleClient, "stack": around.stack},
            facts=({"air": conditions.name} if conditions else {}) | opened.facts,
            on_close=resources.pop_all().aclose,
            ports=opened,
            failure=around.air.failure,
            beside=[*simulated, *opened.beside()],
        )


def _close_consoles(all_: Sequence[Beside]) -> None:
    for one in all_:
        if one.console is not None:
            one.console.close()


def loop_factory(choice: RadioChoice, *, real_time: bool = False) -> type[asyncio.AbstractEventLoop] | None:
    """The event loop that the radio's clock runs on; None for the ordinary one. What comes through a port takes its
    own time."""
    if choice.kind != "virtual" or real_time or choice.ports:
        return None
    from benchrig.radio.virtual.clock import VirtualLoop

    return VirtualLoop
