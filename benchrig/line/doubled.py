"""What is wrong with a unit beside all steps of its plan: it is not the one of the barcode, or another one has its serial
number or its address.

Who had a serial number or an address first has it: the unit that brings it again fails, with the record of the first one named.
Addresses that a unit changes count for nothing. A radio module that was replaced brings a new address for an old serial
number: that is right for a unit that has failed and is tested as repaired, and from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from benchrig.errors import BenchrigError, DeviceError, StationError, WrongDevice
from benchrig.history.place import Place
from benchrig.line.events import Word
from benchrig.line.known_units import Before, before_in, kept_address, serial_read, serials_read
from benchrig.line.proof import Absent, Expected, Found, Outcome, Proven, Unconfirmed, WrongLabel
from benchrig.loop import outside
from benchrig.plan.model import Plan
from benchrig.record.line_part import OF_THE_STATION, Purpose
from benchrig.record.model import Record
from benchrig.source.problem import printable
from benchrig.station.products import AddressRange
from benchrig.threads import in_thread

_CONNECT = "connect"


@dataclass
class LastCheck:
    """For `RunOptions.last_check`. `before` gives the units of line.jsonl, of the same kind as this run: real or simulated.
    `attempts` are those of the plan's first connect step, `after` is the word of the unit's last test, '' for a new one. `notes` say afterwards what could not be looked up."""

    outcome: Outcome
    expected: Expected
    before: Callable[[], Sequence[Before]]
    history: Place | None = None
    addresses: AddressRange | None = None
    purpose: Purpose = "unit"
    attempts: int = 1
    after: Word | Literal[""] = ""
    notes: list[str] = field(default_factory=list)

    async def __call__(self, record: Record) -> BenchrigError | None:
        """What keeps the unit from passing. A WrongDevice comes before whatever the run has judged; all else changes nothing
        where a step has failed before."""
        error = not_the_unit(record, self.outcome, self.expected)
        error = error or not_taken(record, self.outcome, self.attempts)
        if self.purpose in OF_THE_STATION or not record.sightings:
            return error
        if error is not None:
            return await self._whose(error, record) if isinstance(self.outcome, WrongLabel) else error
        return self._outside_range(record) or await self._doubled(record)

    async def _whose(self, error: BenchrigError, record: Record) -> BenchrigError:
        """A wrong label, with the unit named that has the serial number."""
        other = await self._doubled(record)
        return error if other is None else DeviceError(f"{error.message}; {other.message}", advice=error.advice)

    def _outside_range(self, record: Record) -> BenchrigError | None:
        allowed, address = self.addresses, kept_address(record)
        if allowed is None:
            return None
        if not address:
            return StationError(
                "the unit advertises with an address that changes, so it cannot be held against the addresses of its product",
                advice="take addresses: out of the product, or let the unit advertise with its own address",
            )
        if not allowed.holds(address):
            return DeviceError(
                f"expected an address from {allowed.first} to {allowed.last}, found {address}",
                advice="see which address was programmed",
            )
        return None

    async def _doubled(self, record: Record) -> BenchrigError | None:
        serial, address, blank = serial_read(record), kept_address(record), self.expected.blank
        serial = serial if serial != blank else ""
        known = await self._known(serial, address, simulated=record.run.simulated)
        known = [each for each in known if each.run_id != record.run.run_id and each.serial != blank]
        return doubled(serial, address, known, repaired=self.purpose == "repaired" and self.after == "FAIL")

    async def _known(self, serial: str, address: str, *, simulated: bool) -> list[Before]:
        """In the order of time, each run once."""
        found, place = [*self.before()], self.history
        if place is not None:
            with outside():
                told = await in_thread(lambda: before_in(place, serial, address, simulated=simulated))
            kept, trouble = told.result()
            self.notes += [trouble] if trouble else []
            found += kept
        return sorted({each.run_id: each for each in found}.values(), key=lambda each: (each.started, each.run_id))


def attempts_of(plan: Plan) -> int:
    """How often the first connect step of the plan may try."""
    found = (step.step for step in plan.steps if step.step is not None and step.step.verb == _CONNECT)
    return next((step.attempts for step in found), 1)


# --- whether it is the unit


def not_the_unit(record: Record, outcome: Outcome, expected: Expected) -> BenchrigError | None:
    """Why the record is not that of the unit of the barcode."""
    if isinstance(outcome, WrongLabel):
        if outcome.serial and (others := [each for each in serials_read(record) if each != outcome.serial]):
            return _contradicted(outcome, outcome.serial, others[0])
        return DeviceError(outcome.why, advice="see whether the label or the unit is wrong")
    if isinstance(outcome, Found):
        return _of_another(record, outcome) or _another_serial(record, outcome, expected)
    if isinstance(outcome, Absent):
        return _another_serial(record, outcome, expected) if record.sightings else None
    return StationError(outcome.why, advice="test the unit again once it is proven to be in the slot")


def _of_another(record: Record, unit: Found) -> BenchrigError | None:
    """Under another address than the one that was proven, where the unit keeps its own."""
    others = {seen.address for seen in record.sightings if seen.address.upper() not in ("", unit.address)}
    if unit.private or not others:
        return None
    return WrongDevice(
        f"expected the unit {unit.address}, found {', '.join(sorted(others))} in the record of the run",
        advice="test the unit again",
    )


def _another_serial(record: Record, outcome: Outcome, expected: Expected) -> BenchrigError | None:
    wanted = expected.serial or (outcome.serial if isinstance(outcome, Proven) else "")
    told = [each for each in serials_read(record) if each != expected.blank]
    if wanted and (wrong := [each for each in told if each != wanted]):
        return _contradicted(outcome, wanted, wrong[0])
    if expected.blank and serial_read(record) == expected.blank:
        return _not_programmed(outcome, wanted, expected.blank)
    if told or not _needs_serial(outcome, expected):
        return None
    if isinstance(outcome, Found) and outcome.private and _first_address(record) != outcome.address:
        return WrongDevice(
            "the unit has changed its address since it was proven, and the run has read no serial number: "
            "another unit may have answered",
            advice="test the unit again; read the serial number (2A25) first in the plan",
        )
    return StationError(
        "the run has read no serial number, so nothing shows that it was the unit of the barcode",
        advice="add a step to the plan that reads the serial number (2A25)",
    )


def _not_programmed(outcome: Outcome, wanted: str, blank: str) -> BenchrigError:
    """The unit is to blame where it is surely the one in the slot."""
    expected = f"the serial number '{printable(wanted)}'" if wanted else "another serial number"
    said = f"expected {expected}, found '{printable(blank)}', which units have before they are programmed"
    advice = "see whether the programmer did its work"
    if isinstance(outcome, Proven) or (isinstance(outcome, Unconfirmed) and outcome.sure):
        return DeviceError(said, advice=advice)
    return StationError(said, advice=advice)


def _first_address(record: Record) -> str:
    """From there on the run itself holds on to its unit."""
    return next((seen.address.upper() for seen in record.sightings if seen.address), "")


def _contradicted(outcome: Outcome, wanted: str, told: str) -> BenchrigError:
    """The unit is to blame where it is surely the one of the barcode, or in the slot, and told nothing else before."""
    is_the_unit = isinstance(outcome, Proven) and outcome.how == "address" and not outcome.serial
    if is_the_unit or (isinstance(outcome, Unconfirmed) and outcome.sure):
        return DeviceError(
            f"expected the serial number '{printable(wanted)}', found '{printable(told)}'",
            advice="see whether the label or the unit is wrong",
        )
    if isinstance(outcome, (Proven, WrongLabel)) and not outcome.private:
        return WrongDevice(
            f"two units have the address {outcome.address}: '{printable(outcome.serial)}' was proven to be in the slot, "
            f"'{printable(told)}' answered in the run",
            advice="test the two one after the other, the other one without power",
        )
    return WrongDevice(
        f"expected the serial number '{printable(wanted)}', another unit answered in the run: '{printable(told)}'",
        advice="see which unit is in the slot, and test it again",
    )


def _needs_serial(outcome: Outcome, expected: Expected) -> bool:
    """Whether the run itself has to show which unit it was: another one may have the same address, or have taken the place
    of the unit after the proof. An address of the barcode is enough for a unit that tells no serial number."""
    if not (isinstance(outcome, Proven) and outcome.how == "address"):
        return True
    return outcome.private or bool(expected.serial and (outcome.serial or outcome.failed or expected.blank))


def not_taken(record: Record, outcome: Outcome, attempts: int) -> BenchrigError | None:
    """Connections that the unit did not take when it was asked which one it is count as attempts of the plan's first
    connect step: a unit that refuses the first one must not pass for having been asked before."""
    failed = outcome.failed if isinstance(outcome, Found) else 0
    first = next((step for step in record.steps if step.planned.kind == _CONNECT), None)
    if not failed or first is None or failed + len(first.retries) < attempts:
        return None
    return StationError(
        f"the unit did not take {failed + len(first.retries)} connections before the one that the plan was tried over, "
        f"and the plan allows {attempts} in all",
        advice="test the unit again; allow more with attempts: of the connect step",
    )


# --- whether it is the only one


def doubled(serial: str, address: str, known: Iterable[Before], *, repaired: bool = False) -> BenchrigError | None:
    """The earlier unit with this serial number or this address, as an error. `known` in the order of time; '' is no address."""
    known = [*known]
    with_serial = [each for each in known if serial and each.serial == serial and each.address]
    with_address = [each for each in known if address and each.address == address and each.serial]
    first = _owner(with_serial)
    if first is not None and address and first.address != address and not repaired:
        return DeviceError(
            f"the serial number '{printable(serial)}' is that of another unit, {first.address}, in run {first.run_id}"
            f"{_in(first)}; this one is {address}",
            advice="see which of the two has the wrong serial number; scan REPAIRED first where its radio was replaced",
        )
    first = with_address[0] if with_address else None
    if first is not None and serial and first.serial != serial:
        return DeviceError(
            f"the address {address} is that of another unit, '{printable(first.serial)}', in run {first.run_id}{_in(first)}",
            advice="see which of the two has the wrong address",
        )
    return None


def _owner(known: Sequence[Before]) -> Before | None:
    """Whose the serial number is: of the first one, and of what it became by the last repair."""
    repairs = [each for each in known if each.purpose == "repaired"]
    return repairs[-1] if repairs else known[0] if known else None


def _in(before: Before) -> str:
    return f" ({before.folder})" if before.folder else ""
