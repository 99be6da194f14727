"""What is wrong with a unit beside all steps of its plan: it is not the one of the barcode, or another one has its serial
number or its address."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError
from benchrig.history.place import Place
from benchrig.line.proof import Expected, Outcome
from benchrig.record.line_part import Purpose
from benchrig.record.model import Record
from benchrig.station.products import AddressRange


@dataclass(frozen=True)
class Before:
    """A unit that this line has tested: `address` is '' where it was a private one."""

    serial: str
    address: str
    run_id: str
    folder: str = ""


@dataclass
class LastCheck:
    """For `RunOptions.last_check`. `before` gives the units of line.jsonl, of the same kind as this run: real or simulated.
    `notes` say afterwards what could not be looked up."""

    outcome: Outcome
    expected: Expected
    before: Callable[[], Sequence[Before]]
    history: Place | None = None
    addresses: AddressRange | None = None
    purpose: Purpose = "unit"
    notes: list[str] = field(default_factory=list)

    async def __call__(self, record: Record) -> BenchrigError | None:
        return None
