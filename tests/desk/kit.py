"""Work at a desk on the virtual radio in one line: devices as text, files or specifications; back comes what the work returns."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from benchrig.desk.desk import Desk, DeskOptions
from benchrig.desk.inspecting import inspect
from benchrig.desk.inspecting_security import PairingLook
from benchrig.desk.inspection import Inspection
from benchrig.desk.running import run_desk
from benchrig.radio.scan import Selection
from benchrig.radio.security import Party
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.device_spec import Simulated
from tests.scratch import scratch

T = TypeVar("T")


def at_desk(
    work: Callable[[Desk], Coroutine[Any, Any, T]],
    *devices: str | Path | Simulated,
    selection: Selection | None = None,
    said: list[str] | None = None,
    **options: Any,
) -> T:
    """`said` collects what the person is told."""
    told = said if said is not None else []
    with scratch() as folder:
        written = [device for device in devices if isinstance(device, (str, Path))]
        files = tuple(_file(folder, number, device) for number, device in enumerate(written))
        specified = tuple(device for device in devices if not isinstance(device, (str, Path)))
        radio = RadioChoice("virtual", files=files, devices=specified)
        chosen = DeskOptions(radio, selection or Selection())
        return run_desk(replace(chosen, **options), work, told.append)


class Reader:
    """A person who types what the device prints on its console: 'code 042517'. Of two numbers those are compared, and a
    passkey of ours goes to `shown`."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.shown: list[int] = []

    async def enter(self) -> int | None:
        console = self._desk.radio.beside[0].console
        assert console is not None
        assert await console.more(5.0), "the device printed no code"
        return int([*console.unseen()][-1].text.split()[-1])

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        self.shown.append(passkey)

    async def compare(self, number: int) -> bool:
        return number == await self.enter()


class Clumsy(Reader):
    """Types another passkey than the one that is shown."""

    async def enter(self) -> int | None:
        passkey = await super().enter()
        return None if passkey is None else (passkey + 1) % 1_000_000


def inspected(
    device: str | Path | Simulated,
    pairing: PairingLook | None = None,
    party: Callable[[Desk], Party] = Reader,
    **options: Any,
) -> Inspection:
    """The inspection of the one device."""

    async def work(desk: Desk) -> Inspection:
        desk.party = party(desk)
        return await inspect(desk, pairing=pairing)

    return at_desk(work, device, **options)


def _file(folder: Path, number: int, device: str | Path) -> Path:
    if isinstance(device, Path):
        return device
    path = folder / f"device{number}.yaml"
    path.write_text(device, encoding="utf-8")
    return path
