"""The units that were tested before, as far as they can be told by serial number and address: of the line, of a history."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import msgspec
from sqlalchemy import Select, and_, or_, select

from benchrig.errors import OF_THE_UNIT, BenchrigError
from benchrig.history.moments import moment_of
from benchrig.history.opening import open_history
from benchrig.history.place import Place
from benchrig.history.questions.rows import raw_rows
from benchrig.history.tables import devices, runs
from benchrig.line.events import AnyLineEvent, UnitBegan, UnitEnded
from benchrig.radio.identity import Identity
from benchrig.record.model import Record

# A verdict does not wait longer for a history than this, in seconds.
PATIENCE = 5.0


class Before(msgspec.Struct, frozen=True):
    """A unit in a run. `address` is '' where it was one that changes."""

    serial: str
    address: str
    run_id: str
    started: datetime
    purpose: str = "unit"
    folder: str = ""


def line_units(events: Iterable[AnyLineEvent]) -> list[Before]:
    """The judged units of a line, by the serial number of the barcode, else by what they told."""
    began, found = dict[str, UnitBegan](), list[Before]()
    for event in events:
        if isinstance(event, UnitBegan):
            began[event.key] = event
        elif isinstance(event, UnitEnded) and (unit := began.pop(event.key, None)) is not None:
            found += before_of(unit, event)
    return found


def before_of(began: UnitBegan, ended: UnitEnded) -> list[Before]:
    """What one test says of who its unit was; nothing where it was not judged, or its unit is not known."""
    serial = began.serial or ended.serial
    if not (ended.judged and serial and ended.address):
        return []
    return [Before(serial, ended.address, ended.run_id, ended.at, began.purpose, ended.folder)]


def before_in(place: Place, serial: str, address: str, *, simulated: bool) -> tuple[list[Before], str]:
    """The runs of a history with this serial number or this address, or why it was not asked. Blocks."""
    if not (serial or address) or (place.file is not None and not place.file.exists()):
        return [], ""  # the first run makes the file
    try:
        with open_history(place, patience=PATIENCE) as history, history.reading() as connection:
            rows = raw_rows(connection, _question(serial, address, simulated=simulated))
            return [found for row in rows if (found := _before(row)) is not None], ""
    except BenchrigError as error:
        return [], f"the history was not asked for doubled numbers: {error.message}"


def _question(serial: str, address: str, *, simulated: bool) -> Select[Any]:
    """Runs that speak of their unit: in others another one may have answered."""
    columns = (
        devices.c.serial, devices.c.address, devices.c.address_type, runs.c.run_id, runs.c.started, runs.c.purpose,
        runs.c.folder,
    )  # fmt: skip
    speaks = or_(runs.c.verdict == "pass", and_(runs.c.verdict == "fail", runs.c.cause.in_(OF_THE_UNIT)))
    same = [column == text for column, text in ((devices.c.serial, serial), (devices.c.address, address)) if text]
    question = select(*columns).join(devices, devices.c.run == runs.c.run)
    return question.where(or_(*same), speaks, runs.c.simulated.is_(simulated), devices.c.n == 0)


def _before(row: tuple[str, str, str, str, int, str, str]) -> Before | None:
    serial, address, kind, run_id, started, purpose, folder = row
    kept = _kept(address, kind)
    return Before(serial, kept, run_id, moment_of(started), purpose or "unit", folder) if serial and kept else None


def serials_read(record: Record) -> list[str]:
    """Those that the unit told in a run, each once."""
    return [*dict.fromkeys(filter(None, (seen.serial.strip().rstrip("\0") for seen in record.sightings)))]


def serial_read(record: Record) -> str:
    """The last of them."""
    return serials_read(record)[-1] if serials_read(record) else ""


def kept_address(record: Record) -> str:
    """That of the unit in capitals; '' where it is one that changes, and where none was seen."""
    return _kept(record.unit.address, record.unit.address_type) if record.unit is not None else ""


def _kept(address: str, address_type: str) -> str:
    return "" if Identity(address, address_type).rotates else address.upper()
