"""The table of the shift (`shift.txt`) as data, and what it must add up to: worked out here from the rows alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

HERE = Path(__file__).parent
REFERENCES = {"L000001": "golden logger", "L000002": "logger with an old battery"}
PLANS = {"L": "Box logger", "A": "Box logger", "D": "Display logger", "P": "Programmed logger"}


@dataclass(frozen=True)
class Row:
    """A unit that is put into a slot."""

    line: int
    slot: str
    said: str  # '', RETEST or REPAIRED
    serial: str
    inside: str
    then: tuple[str, ...]
    word: str  # PASS, FAIL, STOP; refused; '-'
    cause: str = ""
    step: str = ""

    @property
    def judged(self) -> bool:
        return self.word in ("PASS", "FAIL")

    @property
    def told(self) -> str:
        """The serial number that the unit in the slot tells."""
        return self.inside.removeprefix("as ") if self.inside.startswith("as ") else self.serial

    @property
    def reference(self) -> str:
        return REFERENCES.get(self.serial, "")

    def __str__(self) -> str:
        return f"line {self.line}: {self.said} {self.serial} ({self.inside}) in slot {self.slot}"


@dataclass(frozen=True)
class Deed:
    """What is done or seen between units."""

    line: int
    verb: str
    text: str = ""


Entry: TypeAlias = Row | Deed


def table(name: str = "shift.txt") -> list[Entry]:
    """That of a file beside this one."""
    lines = enumerate((HERE / name).read_text(encoding="utf-8").splitlines(), 1)
    return [_entry(number, line) for number, line in lines if line.strip() and not line.startswith("#")]


def _entry(number: int, line: str) -> Entry:
    if line.startswith("* "):
        verb, _, text = line[2:].strip().partition(" ")
        return Deed(number, verb, text)
    slot, label, inside, word, *why = re.split(r" {2,}", line.strip())
    said, _, serial = label.rpartition(" ")
    what, *then = inside.split(", ")
    return Row(number, slot, said, serial, what, tuple(then), word, *why)


def rows(entries: Iterable[Entry]) -> Iterator[Row]:
    return (entry for entry in entries if isinstance(entry, Row))


@dataclass
class Sums:
    """What the screen must count after the rows that it was given."""

    first: dict[str, str] = field(default_factory=dict)  # the word of each unit's first result
    retests: int = 0
    stopped: set[str] = field(default_factory=set)

    def add(self, row: Row) -> None:
        if row.reference or row.word not in ("PASS", "FAIL", "STOP"):
            return
        if row.word == "STOP":
            self.stopped |= {row.serial} - self.first.keys()
            return
        self.stopped.discard(row.serial)
        self.retests += row.serial in self.first
        self.first.setdefault(row.serial, row.word)

    @property
    def figures(self) -> dict[str, str]:
        """As the screen writes them."""
        judged, passed = len(self.first), sum(word == "PASS" for word in self.first.values())
        share = f"{100 * passed / judged:.1f}" if judged else "–"
        return {
            "judged": str(judged), "first pass": share, "failed": str(judged - passed),
            "not judged": str(len(self.stopped)), "retests": str(self.retests),
        }  # fmt: skip


def yields(taken: Iterable[Row]) -> dict[str, tuple[int, int, int]]:
    """By plan, what the history must say: units, those that passed at first, and in the end. It knows a unit by the serial
    number that it told, and by its label where it told none."""
    words: dict[str, list[str]] = {}
    for row in taken:
        if row.judged and not row.reference:
            words.setdefault(row.told, []).append(row.word)
    found: dict[str, tuple[int, int, int]] = {}
    for serial, each in words.items():
        units, first, final = found.get(PLANS[serial[0]], (0, 0, 0))
        found[PLANS[serial[0]]] = (units + 1, first + (each[0] == "PASS"), final + (each[-1] == "PASS"))
    return found


def sums(taken: Sequence[Row]) -> Sums:
    total = Sums()
    for row in taken:
        total.add(row)
    return total
