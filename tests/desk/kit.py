"""Work at a desk on the virtual radio in one line: devices as text, files or specifications; back comes what the work returns."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Coroutine
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from benchrig.desk.desk import Desk, DeskOptions
from benchrig.desk.inspecting import inspect
from benchrig.desk.inspection import Inspection
from benchrig.desk.running import run_desk
from benchrig.radio.scan import Selection
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.device_spec import Simulated

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
    with tempfile.TemporaryDirectory() as folder:
        written = [device for device in devices if isinstance(device, (str, Path))]
        files = tuple(_file(Path(folder), number, device) for number, device in enumerate(written))
        specified = tuple(device for device in devices if not isinstance(device, (str, Path)))
        radio = RadioChoice("virtual", files=files, devices=specified)
        chosen = DeskOptions(radio, selection or Selection())
        return run_desk(replace(chosen, **options), work, told.append)


def inspected(device: str | Path | Simulated, **options: Any) -> Inspection:
    """The inspection of the one device."""

    async def work(desk: Desk) -> Inspection:
        return await inspect(desk)

    return at_desk(work, device, **options)


def _file(folder: Path, number: int, device: str | Path) -> Path:
    if isinstance(device, Path):
        return device
    path = folder / f"device{number}.yaml"
    path.write_text(device, encoding="utf-8")
    return path
