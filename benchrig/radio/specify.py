"""`--radio` text -> what to open. Importing this loads no Bluetooth library: `check` uses it too."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual import Faults
    from benchrig.radio.virtual.model import DeviceModel

KINDS = "host, host:ADAPTER, virtual:FILE[,FILE…]"


@dataclass(frozen=True)
class RadioChoice:
    """A radio that has been named but not opened. `files` are the device files of a virtual one, `adapter` the
    operating system's name for an adapter, '' for its default."""

    kind: str
    adapter: str = ""
    files: tuple[Path, ...] = ()

    @classmethod
    def parse(cls, text: str) -> RadioChoice:
        """Raises UsageError for text that names no radio."""
        kind, _, rest = text.partition(":")
        if kind == "host":
            return cls("host", adapter=rest)
        if kind == "virtual" and rest:
            return cls("virtual", files=tuple(Path(part) for part in rest.split(",") if part))
        if kind == "virtual":
            raise UsageError("a virtual radio needs its device files", advice="--radio virtual:FILE[,FILE…]")
        raise UsageError(f"unknown radio '{text}'", advice=f"one of {KINDS}")

    @property
    def simulated(self) -> bool:
        return self.kind == "virtual"

    def __str__(self) -> str:
        detail = self.adapter or ",".join(path.name for path in self.files)
        return f"{self.kind}:{detail}" if detail else self.kind


def radio_opener(choice: RadioChoice, *, seed: int = 0, capture: Path | None = None) -> Callable[[], Awaitable[Radio]]:
    """What opens the radio. Device files are read here already: PlanError before anything is opened."""
    if choice.kind == "virtual":
        return _virtual_opener(choice, seed, capture)
    return lambda: _open_host(choice)


async def _open_host(choice: RadioChoice) -> Radio:
    from benchrig.radio.host import open_host

    return await open_host(str(choice), choice.adapter)


def _virtual_opener(choice: RadioChoice, seed: int, capture: Path | None) -> Callable[[], Awaitable[Radio]]:
    from benchrig.radio.virtual import load_devices
    from benchrig.source.problem import Problems

    problems = Problems()
    models = load_devices(choice.files, problems)
    problems.raise_if_any()

    return lambda: open_simulated(models, name=str(choice), seed=seed, capture=capture)


async def open_simulated(
    models: Sequence[DeviceModel],
    *,
    name: str = "virtual",
    seed: int = 0,
    faults: Faults | None = None,
    capture: Path | None = None,
) -> Radio:
    """A radio on an air of its own with these devices."""
    from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual import open_air

    air = await open_air(models, seed=seed, faults=faults, capture=capture)
    return Radio(
        name,
        simulated=True,
        seed=seed,
        scanner_options={"backend": BumbleScanner, "stack": air.stack},
        client_options={"backend": BumbleClient, "stack": air.stack},
        on_close=air.close,
    )


def loop_factory(choice: RadioChoice, *, real_time: bool = False) -> type[asyncio.AbstractEventLoop] | None:
    """The event loop that the radio's clock runs on; None for the ordinary one."""
    if choice.kind != "virtual" or real_time:
        return None
    from benchrig.radio.virtual.clock import VirtualLoop

    return VirtualLoop
