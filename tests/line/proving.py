"""A line with units in its slots, asked on the simulated air which is which."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from benchrig.line.proof import Expected, Outcome
from benchrig.line.prover import Prover
from benchrig.line.radios import StationRadios
from benchrig.line.rehearsal import RehearsalBench
from benchrig.radio.scan import Selection
from benchrig.radio.virtual.clock import run
from benchrig.station.station import load_station
from tests.line.units import Unit, put_file, serial, station_text

T = TypeVar("T")
VFL = Selection(name="VFL*")


@dataclass
class Floor:
    """Slots that units are put into, and what proves them."""

    folder: Path
    bench: RehearsalBench
    radios: StationRadios
    prover: Prover

    async def put(self, slot: str, unit: Unit | str | None) -> None:
        put_file(self.folder, slot, unit)
        assert await self.bench.put(slot, {}) == ""

    async def prove(self, slot: str, label: Unit | Expected) -> Outcome:
        """Of a unit as its label: with its serial number alone."""
        return await self.prover.prove(slot, label if isinstance(label, Expected) else labelled(label.number))


def labelled(number: int | None = None, address: str = "", selection: Selection = VFL) -> Expected:
    text = "" if number is None else serial(number)
    return Expected(text or address or "LABEL", text, address, selection)


@contextlib.asynccontextmanager
async def floor(
    folder: Path, slots: Mapping[str, str] | Sequence[str], *, seed: int, **said: object
) -> AsyncIterator[Floor]:
    file = folder / "station.yaml"
    file.write_text(station_text(slots, **said), encoding="utf-8")  # type: ignore[arg-type]
    station = load_station(file)
    bench = await RehearsalBench.open(station, seed, folder=folder, watch=False)
    names = {station.slots[slot].radio for slot in station.slots}
    radios = StationRadios(station, {name: bench.opener(name) for name in names}, seed=seed)
    try:
        assert await radios.open() == {}
        yield Floor(folder, bench, radios, Prover(station, radios))
    finally:
        await radios.close()
        await bench.close()


def on_floor(
    folder: Path,
    work: Callable[[Floor], Awaitable[T]],
    slots: Mapping[str, str] | Sequence[str],
    *,
    seed: int = 1,
    **said: object,
) -> T:
    """What `work` comes to, on the virtual clock."""

    async def whole() -> T:
        async with floor(folder, slots, seed=seed, **said) as there:
            return await work(there)

    return run(whole())


def outcomes(
    folder: Path,
    there: Mapping[str, Unit | str | None],
    labels: Mapping[str, Unit | Expected],
    slots: Mapping[str, str] | Sequence[str],
    *,
    seed: int = 1,
    **said: object,
) -> dict[str, Outcome]:
    """Of units in slots, one label after the other."""

    async def work(all_: Floor) -> dict[str, Outcome]:
        for slot, unit in there.items():
            await all_.put(slot, unit)
        return {slot: await all_.prove(slot, label) for slot, label in labels.items()}

    return on_floor(folder, work, slots, seed=seed, **said)
