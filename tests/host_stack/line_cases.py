"""What is done at a line on the stack of Linux, and what must come of it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tests.line.units import Unit, plan_text, serial

if TYPE_CHECKING:
    from tests.host_stack.line_place import Place

Deed = Callable[["Place"], Awaitable[None]]
BARCODE = r"(?P<serial>VFL3-\d{6})"
NOBODY = Unit(0)


@dataclass(frozen=True)
class Case:
    """The label of the unit `number` is scanned for the slot; `inside` are the things in it. `then` is done in mid-run, `mend`
    when the round is over. `word` must come of it, with cause and step."""

    name: str
    slot: str
    number: int
    inside: tuple[Unit, ...]
    word: str
    cause: str | None = None
    step: str = ""
    said: str = ""
    then: Deed | None = None
    mend: Deed | None = None
    again: int = 0

    @property
    def label(self) -> str:
        return serial(self.number)

    @property
    def scans(self) -> tuple[str, ...]:
        return (f"SLOT {self.slot}", *([self.said] if self.said else []), self.label)


@dataclass(frozen=True)
class Layout:
    """`shared`: all slots on one adapter; else each has its own."""

    name: str
    adapters: int
    rounds: tuple[tuple[Case, ...], ...]
    plan: str

    @property
    def is_shared(self) -> bool:
        return self.adapters == 1

    def adapter(self, slot: str) -> int:
        return 0 if self.is_shared else int(slot) - 1


def station(layout: Layout) -> str:
    """Four slots on these adapters."""
    radios = "".join(
        f"  r{number}: {{radio: 'host:hci{number}', links: {4 // layout.adapters}}}\n"
        for number in range(layout.adapters)
    )
    slots = "".join(
        f"  '{slot}': {{label: SLOT {slot}, radio: r{layout.adapter(str(slot))}}}\n" for slot in range(1, 5)
    )
    return (
        f"station: line 3\nresults: results\nradios:\n{radios}slots:\n{slots}"
        f"products:\n  logger:\n    barcode: '{BARCODE}'\n    plan: plan.yaml\n"
        "retest: {most: 1, causes: [link, limit]}\nstop: {station_errors: 20, equal_failures: 20}\n"
    )


def good(name: str, slot: str, number: int) -> Case:
    return Case(name, slot, number, (Unit(number),), "PASS")


SHARED = Layout(
    "shared",
    1,
    (tuple(good(f"good unit {slot}", slot, int(slot)) for slot in "1234"),),
    plan_text(),
)
OWN = Layout(
    "own",
    4,
    (tuple(good(f"good unit {slot}", slot, int(slot)) for slot in "1234"),),
    plan_text(),
)
LAYOUTS = {layout.name: layout for layout in (SHARED, OWN)}
