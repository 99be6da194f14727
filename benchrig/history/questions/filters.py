"""Which runs a question is about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

import msgspec
from sqlalchemy import ColumnElement, Connection, and_, false, or_, select, true

from benchrig.errors import UsageError
from benchrig.history.moments import micros, moment_text
from benchrig.history.questions.words import BROKEN_OFF, CAUSES, VERDICTS
from benchrig.history.tables import devices, runs
from benchrig.record.purposes import OF_THE_STATION, PURPOSES
from benchrig.source.problem import suggest
from benchrig.text.escape import plain

# A filter, and the column that it is about; words of the two at the end are known beforehand.
_COLUMNS = {
    "plan": runs.c.plan, "revision": runs.c.revision, "plan_hash": runs.c.plan_hash, "limits": runs.c.limit_set,
    "firmware": runs.c.firmware, "station": runs.c.station, "radio": runs.c.radio, "verdict": runs.c.verdict,
    "cause": runs.c.cause, "purpose": runs.c.purpose, "product": runs.c.product, "slot": runs.c.slot,
    "person": runs.c.person, "shift": runs.c.shift, "reference": runs.c.reference,
}  # fmt: skip
_KNOWN = {"verdict": VERDICTS, "cause": CAUSES, "purpose": PURPOSES}
_NAMES = {"plan_hash": "plan hash", "limits": "limit set"}
_FEWEST_DIGITS = 6


class Filters(msgspec.Struct, frozen=True, omit_defaults=True):
    """Of the words of one filter any may fit, of the filters all do; one without words fits every run. An empty word fits
    a run of which it is not known. A run on a simulated radio is selected with `simulated` alone, and no other one is."""

    plan: tuple[str, ...] = ()
    revision: tuple[str, ...] = ()
    plan_hash: tuple[str, ...] = ()  # at least its first digits
    limits: tuple[str, ...] = ()  # the name of a limit set
    firmware: tuple[str, ...] = ()
    station: tuple[str, ...] = ()
    radio: tuple[str, ...] = ()
    verdict: tuple[str, ...] = ()
    cause: tuple[str, ...] = ()
    unit: tuple[str, ...] = ()  # a serial number, read or given, or an address
    since: datetime | None = None
    until: datetime | None = None  # the first moment that is too late
    simulated: bool = False
    purpose: tuple[str, ...] = ()  # what a run was at a line: the words of PURPOSES
    product: tuple[str, ...] = ()
    slot: tuple[str, ...] = ()
    person: tuple[str, ...] = ()
    shift: tuple[str, ...] = ()
    reference: tuple[str, ...] = ()  # the name of a unit that checks the station

    @property
    def described(self) -> str:
        """'plan end of line; station line 2, line 3'; '' for all runs."""
        told = [f"{name} {', '.join(map(_shown, words))}" for name, words in self.worded()]
        told += [f"since {moment_text(self.since)}"] if self.since else []
        told += [f"before {moment_text(self.until)}"] if self.until else []
        return "; ".join(told)

    @property
    def narrows_plan(self) -> bool:
        """Whether it leaves out runs of a plan."""
        return self != Filters(plan=self.plan, simulated=self.simulated)

    @property
    def of_the_station(self) -> bool:
        """Whether it selects runs that check the station, and these alone: no question mixes them with others."""
        return bool(self.purpose) and {*self.purpose} <= {*OF_THE_STATION}

    def worded(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        for field in (*_COLUMNS, "unit"):
            if words := getattr(self, field):
                yield _NAMES.get(field, field), words


def condition(filters: Filters) -> ColumnElement[bool]:
    """The runs that fit, as a condition on the table of runs."""
    parts: list[ColumnElement[bool]] = [runs.c.simulated.is_(true() if filters.simulated else false())]
    for field, column in _COLUMNS.items():
        if words := getattr(filters, field):
            parts.append(_begins(words) if field == "plan_hash" else column.in_(words))
    if filters.unit:
        parts.append(of_units(filters.unit))
    if filters.since:
        parts.append(runs.c.started >= micros(filters.since))
    if filters.until:
        parts.append(runs.c.started < micros(filters.until))
    return and_(*parts)


def whole_runs(filters: Filters) -> ColumnElement[bool]:
    """Runs that are a whole test of a unit: not a part of a plan, not a measurement of a gauge study, and no check of the station
    unless the filters ask for these alone. Nor one that died or was
    broken off, unless the filters ask for such: its unit comes again, and an instrument that fails may have failed before."""
    parts = [runs.c.left_out == 0, runs.c.study == ""]
    if not filters.of_the_station:
        parts.append(runs.c.purpose.not_in([*OF_THE_STATION]))
    if not filters.verdict and not filters.cause:
        parts += [runs.c.verdict != "cut off", runs.c.cause.not_in(BROKEN_OFF)]
    return and_(*parts)


def of_units(names: Sequence[str]) -> ColumnElement[bool]:
    """The runs in which one of the devices has one of these names."""
    words = [*names, *(name.upper() for name in names)]  # an address may be typed either way
    named = (column.in_(words) for column in (devices.c.serial, devices.c.given_serial, devices.c.address))
    return runs.c.run.in_(select(devices.c.run).where(or_(*named)))


def _begins(hashes: Sequence[str]) -> ColumnElement[bool]:
    return or_(*(runs.c.plan_hash.startswith(each.lower(), autoescape=True) for each in hashes))


def check_words(connection: Connection, filters: Filters) -> None:
    """UsageError for a word that no run has: a slip of the pen must not look like an empty history."""
    for field, column in _COLUMNS.items():
        for word in getattr(filters, field):
            if field == "plan_hash":
                _check_hash(connection, filters, word)
            elif connection.execute(_one(column == word, filters)).first() is None:
                known = _KNOWN.get(field) or _known(connection, column, filters)
                if word not in known:
                    raise _unknown(_NAMES.get(field, field), word, known)
    for name in filters.unit:
        if not name:
            raise UsageError("expected the name of a unit, found ''", advice="write a serial number or an address")
        if connection.execute(_one(of_units([name]), filters)).first() is None:
            raise _unknown("unit", name, known_words(connection, "unit", filters))


def _one(which: ColumnElement[bool], filters: Filters) -> Any:
    return select(runs.c.run).where(which, condition(Filters(simulated=filters.simulated))).limit(1)


def _check_hash(connection: Connection, filters: Filters, word: str) -> None:
    if len(word) < _FEWEST_DIGITS:
        raise UsageError(f"expected at least {_FEWEST_DIGITS} digits of a plan hash, found '{plain(word)}'")
    if connection.execute(_one(_begins([word]), filters)).first() is None:
        raise _unknown("plan hash", word, _known(connection, runs.c.plan_hash, filters))


def known_words(connection: Connection, field: str, filters: Filters) -> list[str]:
    """What the runs have for a filter."""
    return _known(connection, runs.c.unit if field == "unit" else _COLUMNS[field], filters)


def _known(connection: Connection, column: Any, filters: Filters) -> list[str]:
    fits = condition(Filters(simulated=filters.simulated))
    return [str(value) for (value,) in connection.execute(select(column).where(fits).distinct().order_by(column))]


def _unknown(name: str, word: str, known: Sequence[str]) -> UsageError:
    shown = [plain(each) for each in known if each]
    advice = suggest(plain(word), shown) if shown else "see what the history has: benchrig history runs"
    return UsageError(f"the history has no run with the {name} {_shown(word)}", advice=advice)


def _shown(word: str) -> str:
    return f"'{plain(word)}'"
