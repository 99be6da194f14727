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


@dataclass(frozen=True)
class Case:
    """The label of the unit `number` is scanned for the slot; `inside` are the things in it. `then` is done in mid-run, for
    `all_` slots in that of the first, `mend` when the round is over. `word` must come of it, with cause and step."""

    name: str
    slot: str
    number: int
    inside: tuple[Unit, ...]
    word: str
    cause: str | None = None
    step: str | None = ""  # None for any
    said: str = ""
    then: Deed | None = None
    mend: Deed | None = None
    all_: bool = False
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


def four(name: str, first: int) -> tuple[Case, ...]:
    """Good units in all slots."""
    return tuple(good(f"{name}, slot {slot}", slot, first + int(slot) - 1) for slot in "1234")


def pulled(slot: str) -> Deed:
    return lambda place: place.take(slot)


async def _adapter_goes(place: Place) -> None:
    place.unplug(0)


async def _adapter_comes(place: Place) -> None:
    await place.plug_in(0)


async def _service_ends(place: Place) -> None:
    await place.kill_service()


async def _service_begins(place: Place) -> None:
    await place.start_service()


PLAN = plan_text().replace("  - read: battery", "  - wait: 3 s\n    name: a while\n  - read: battery")
BATTERY, SERIAL, WHILE = "read battery level", "the serial number", "a while"
OWN = Layout(
    "own",
    4,
    (
        four("good units", 1),
        (
            Case("the battery is low", "1", 11, (Unit(11, battery=20),), "FAIL", "limit", BATTERY),
            Case("nothing is in the slot", "2", 12, (), "FAIL", "link", "scan"),
            Case("the link is lost", "3", 13, (Unit(13, link_ends=2.0),), "FAIL", "link", WHILE),
            Case("the unit is pulled out", "4", 14, (Unit(14),), "FAIL", "link", WHILE, then=pulled("4")),
        ),
        (
            Case("swapped, slot 1", "1", 21, (Unit(22),), "STOP", "operator"),
            Case("swapped, slot 2", "2", 22, (Unit(21),), "STOP", "operator"),
            Case("the label of another", "3", 23, (Unit(33),), "FAIL", "limit", SERIAL),
            Case("two units in a slot", "4", 24, (Unit(24), Unit(34)), "STOP", "station"),
        ),
        (
            Case("a retest", "1", 13, (Unit(13),), "PASS", said="RETEST", again=1),
            Case("tested before", "2", 1, (Unit(1),), "refused"),
            Case("an address that another has", "3", 41, (Unit(41, address=2),), "FAIL", "device"),
            good("a good unit beside them", "4", 42),
        ),
        (
            Case("the adapter is pulled out", "1", 51, (Unit(51),), "STOP", "station", WHILE,
                 then=_adapter_goes, mend=_adapter_comes),
            *(good(f"its neighbour in slot {slot}", slot, 50 + int(slot)) for slot in "234"),
        ),
        (good("with the adapter again", "1", 51),),
    ),
    PLAN,
)  # fmt: skip
SHARED = Layout(
    "shared",
    1,
    (
        four("good units at one adapter", 1),
        (
            Case("a low battery at one adapter", "1", 11, (Unit(11, battery=20),), "FAIL", "limit", BATTERY),
            Case("nothing in a slot at one adapter", "2", 12, (), "FAIL", "link", "scan"),
            Case("a lost link at one adapter", "3", 13, (Unit(13, link_ends=2.0),), "FAIL", "link", WHILE),
            good("a good unit beside them at one adapter", "4", 14),
        ),
        tuple(
            Case(f"the service ends, slot {slot}", slot, 20 + int(slot), (Unit(20 + int(slot)),), "STOP", "station", None,
                 all_=True, then=_service_ends if slot == "1" else None, mend=_service_begins if slot == "1" else None)
            for slot in "1234"
        ),
        four("with the service again", 21),
    ),
    PLAN,
)  # fmt: skip
LAYOUTS = {layout.name: layout for layout in (SHARED, OWN)}
