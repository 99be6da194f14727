"""A draft in one line, and the run of it on a device."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from benchrig.draft.compose import Draft, compose
from benchrig.draft.evidence import Evidence
from benchrig.draft.from_devices import Collecting, collect
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.propose.proposal import Basis
from benchrig.radio.scan import Selection
from benchrig.steps.attribute import Names
from tests.desk.kit import at_desk
from tests.run.kit import Ran, run
from tests.scratch import scratch

ANY = Selection(name="*")


@cache
def seen(*devices: str | Path, names: Names | None = None, seed: int = 0, **how: Any) -> Evidence:
    """What a draft would be made from; several devices are several units."""
    collecting = Collecting(each=len(devices) > 1, units=len(devices), **how)
    return at_desk(lambda desk: collect(desk, collecting), *devices, selection=ANY, seed=seed, names=names or Names())


def drafted(*devices: str | Path, names: Names | None = None, **how: Any) -> Draft:
    evidence = seen(*devices, names=names, **how)
    return compose(evidence, names or Names(), Basis())


def loaded(text: str) -> Plan:
    """The plan, as `check` reads it."""
    with scratch() as folder:
        path = folder / "plan.yaml"
        path.write_text(text, encoding="utf-8")
        return load_plan(path)


def failures(text: str, device: str | Path, seed: int = 1) -> dict[str, str]:
    """The steps that did not pass, with what they say."""
    return broken(run(text, device, seed=seed))


def broken(ran: Ran) -> dict[str, str]:
    ends = {step.planned.name: step.ended for step in ran.record.steps}
    return {
        name: end.message if end else "not reached" for name, end in ends.items() if not end or end.verdict != "pass"
    }


def lines_about(text: str, step: str) -> list[str]:
    """The lines of one step, without the space at their beginnings: `read: temperature`."""
    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if line == f"  - {step}")
    rest = lines[first + 1 :]
    last = next((number for number, line in enumerate(rest) if not line.startswith("    ")), len(rest))
    return [line.strip() for line in rest[:last]]


def limit_of(text: str, step: str, reading: str) -> str:
    """The limit as it stands in the plan."""
    return next(line.partition(": ")[2] for line in lines_about(text, step) if line.startswith(f"{reading}: "))


def changed(device: str, old: str, new: str) -> str:
    """The device with one thing different."""
    assert device.count(old) == 1, f"{old!r} stands {device.count(old)} times"
    return device.replace(old, new)
