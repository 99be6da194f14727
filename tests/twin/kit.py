"""The twin of a simulated device: from a look at it, and the records of its plans."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchrig.desk.comparing import Comparison, compare
from benchrig.desk.desk import Desk
from benchrig.desk.inspecting_security import PairingLook
from benchrig.draft.evidence import Evidence
from benchrig.draft.from_devices import Collecting, collect
from benchrig.plan.brought import bring
from benchrig.plan.loader import load_plan
from benchrig.radio.scan import Selection
from benchrig.radio.security import Capability
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.steps.attribute import Names
from benchrig.twin.from_files import levels_of
from benchrig.twin.seen import Seen
from benchrig.twin.writing import Twin, twin_of
from tests.desk.kit import Reader, at_desk, inspected
from tests.run.kit import DEVICES, PLANS, Ran, run

ANY = Selection(name="*")
Device = str | Path | Simulated


class Patient(Reader):
    """Reads what is printed when the pairing has come so far, not what stood there before."""

    async def enter(self) -> int | None:
        await asyncio.sleep(0.5)
        return await super().enter()


def evidence_of(
    device: Device, names: Names | None = None, *, pair: Capability | None = None, seed: int = 1, **how: Any
) -> Evidence:
    async def work(desk: Desk) -> Evidence:
        return await collect(replace(desk, party=Patient(desk)), Collecting(**how))

    return at_desk(work, device, selection=ANY, seed=seed, names=names or Names(), pair=pair)


def seen_of(
    device: Device,
    plans: Sequence[str | Path] = (),
    *,
    air: str | None = None,
    pair: Capability | None = None,
    **how: Any,
) -> Seen:
    """Connected to, and the records of these plans beside."""
    files = [file_of(plan) for plan in plans]
    names = bring(files[0]).names if files else Names()
    ran = [(file.stem, run(file, device, air=air).record, load_plan(file, {})) for file in files]
    evidence = evidence_of(device, names, pair=pair, **how)
    return Seen(evidence, names, ran, levels=levels_of(evidence))


def twin(device: Device, plans: Sequence[str | Path] = (), **how: Any) -> Twin:
    return twin_of(seen_of(device, plans, **how))


def file_of(plan: str | Path) -> Path:
    return plan if isinstance(plan, Path) else PLANS / f"{plan}.yaml"


def shipped(name: str) -> Path:
    return DEVICES / f"{name}.yaml"


def bad_steps(ran: Ran) -> dict[str, str]:
    """The steps that did not pass, with their causes."""
    ends = {step.planned.name: step.ended for step in ran.record.steps}
    return {
        name: str(end.cause) for name, end in ends.items() if end is not None and end.verdict not in ("pass", "skip")
    }


def differences(one: Device, other: Device, pair: Capability | None = None) -> Comparison:
    looks = [inspected(device, PairingLook(pair) if pair else None, Reader, selection=ANY) for device in (one, other)]
    return compare(*looks)


def look_at(device: Device) -> list[tuple[str, list[str]]]:
    """Its table in brief."""
    return [(one.uuid, one.properties) for _, one in inspected(device, selection=ANY).characteristics()]
