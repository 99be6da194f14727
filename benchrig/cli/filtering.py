"""The options that say which runs of which history a command is about: the same ones for all of them."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.groups import Command, grouped
from benchrig.cli.options import Decorator, flag, option
from benchrig.cli.types import Whole, Written
from benchrig.errors import BenchrigError, UsageError
from benchrig.history.questions.words import CAUSES, VERDICTS
from benchrig.record.purposes import PURPOSES

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.filters import Filters

_RESULTS = Path("results")
# Rows of a table that nobody asked to be longer.
_LAST = 50
# Words that a shell is offered at once.
_OFFERED = 100
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_AGO = re.compile(r"(\d{1,4}) ?(h|d|w)")
_UNITS = {"h": timedelta(hours=1), "d": timedelta(days=1), "w": timedelta(weeks=1)}


class Moment(Written[datetime]):
    """A date, or a date with a time, in UTC where it names no zone; a day in words; a time ago. `late`: a day alone is the end
    of that day."""

    name, made = "moment", datetime
    example = "for example: 2026-11-27, 2026-11-27T18:40, 2026-11-27T18:40+01:00, yesterday, monday, 7d"

    def __init__(self, *, late: bool = False) -> None:
        self._late = late

    def read(self, text: str) -> datetime:
        word, now = text.strip().lower(), datetime.now(UTC)
        if ago := _AGO.fullmatch(word):
            return now - int(ago[1]) * _UNITS[ago[2]]
        text = _day_text(word, now) or text
        try:
            moment = datetime.fromisoformat(text.strip())
        except ValueError as error:
            raise UsageError(f"expected a date, or a date and a time, found '{text}'") from error
        moment = moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
        return moment + timedelta(days=1) if self._late and _DAY.fullmatch(text.strip()) else moment


def _day_text(word: str, now: datetime) -> str:
    """The date of a day in words: the last one of its name, today among them. '' for other words."""
    if word in _WEEKDAYS:
        back = (now.weekday() - _WEEKDAYS.index(word)) % 7
    elif word in ("today", "yesterday"):
        back = int(word == "yesterday")
    else:
        return ""
    return (now - timedelta(days=back)).strftime("%Y-%m-%d")


@dataclass(frozen=True)
class Chosen:
    """What was typed."""

    history: str | None
    simulated: bool
    plan: tuple[str, ...] = ()
    revision: tuple[str, ...] = ()
    plan_hash: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    firmware: tuple[str, ...] = ()
    station: tuple[str, ...] = ()
    radio: tuple[str, ...] = ()
    unit: tuple[str, ...] = ()
    verdict: tuple[str, ...] = ()
    cause: tuple[str, ...] = ()
    since: datetime | None = None
    until: datetime | None = None
    purpose: tuple[str, ...] = ()
    product: tuple[str, ...] = ()
    slot: tuple[str, ...] = ()
    person: tuple[str, ...] = ()
    shift: tuple[str, ...] = ()
    reference: tuple[str, ...] = ()

    @property
    def filters(self) -> Filters:
        from benchrig.history.questions.filters import Filters

        return Filters(**{each.name: getattr(self, each.name) for each in fields(self) if each.name != "history"})

    def open(self) -> History:
        """The history that is meant. UsageError where there is none."""
        from benchrig.history.choosing import named_place
        from benchrig.history.opening import open_history

        return open_history(named_place(self.history, None, _RESULTS))


def _complete(context: click.Context, option: click.Parameter, incomplete: str) -> list[str]:
    """Words that the history has for a filter, for the shell."""
    chosen = Chosen(context.params.get("history"), bool(context.params.get("simulated")))
    try:
        with chosen.open() as history, history.reading() as connection:
            from benchrig.history.questions.filters import known_words

            known = known_words(connection, str(option.name), chosen.filters)
    except BenchrigError:
        return []
    return [word for word in sorted(known) if word and word.startswith(incomplete)][:_OFFERED]


def _of(name: str, what: str, metavar: str, **how: Any) -> Decorator:
    how = {"shell_complete": _complete} | how
    return option(
        name, multiple=True, metavar=metavar, help=f"Select the runs {what}; may be given several times.", **how
    )


def _which() -> tuple[Decorator, ...]:
    return (
        option("--history", metavar="HISTORY",
               help="The history: a file, or postgresql://USER@HOST/DATABASE.  [default: that of BENCHRIG_HISTORY, else "
               "results/history.sqlite]"),
        flag("--simulated", help="Take the runs on simulated devices, and these alone. Without it no such run is counted."),
    )  # fmt: skip


_FILTERS = (
    _of("--plan", "of the plan of this name", "NAME"),
    _of("--revision", "of this revision of the plan", "REVISION"),
    _of("--plan-hash", "whose plan had exactly this text, by the first digits of its hash", "HASH"),
    _of("--limits", "under the limit set of this name, '' for the plan's own limits", "NAME"),
    _of("--firmware", "of units with this firmware revision, '' where it is not known", "REVISION"),
    _of("--station", "at this station", "NAME"),
    _of("--radio", "with this radio", "RADIO"),
    _of("--unit", "of the unit with this serial number, read or given, or this address", "NAME"),
    _of("--verdict", "with this verdict", "VERDICT", type=click.Choice(VERDICTS), shell_complete=None),
    _of("--cause", "with this cause", "CAUSE", type=click.Choice(CAUSES), shell_complete=None),
    _of("--purpose", "of this purpose at a line", "PURPOSE", type=click.Choice(PURPOSES), shell_complete=None),
    _of("--product", "of this product, as its barcode told it", "NAME"),
    _of("--slot", "in this slot, '' for runs at no line", "NAME"),
    _of("--person", "with this person on shift", "NAME"),
    _of("--shift", "of this shift", "NAME"),
    _of("--reference", "of the golden or known-bad unit of this name", "NAME"),
    option("--since", type=Moment(), metavar="MOMENT",
           help="Select the runs that began at this date, or date and time, or later; UTC where no zone is named. Also "
           "today, yesterday, monday, and 12h, 7d, 2w for a time ago."),
    option("--until", type=Moment(late=True), metavar="MOMENT",
           help="Select the runs that began before this date and time, or on this date or before it."),
)  # fmt: skip


def filter_options() -> Callable[[Command], Command]:
    """Which runs of which history, as `chosen`."""
    return grouped(*_FILTERS, *_which(), to="chosen", make=Chosen)


def history_options() -> Callable[[Command], Command]:
    """Which history, and which of its two halves, as `chosen`."""
    return grouped(*_which(), to="chosen", make=Chosen)


def last_option(what: str) -> Decorator:
    """How many of them, as `last`; `shown_of` has what that means."""
    said = f"Show the last N {what}.  [default: {_LAST} in a table, all in JSON and CSV]"
    return option("--last", type=Whole(1), metavar="N", help=said)


def shown_of(count: int, last: int | None, *, in_table: bool) -> int:
    """How many of so many are shown."""
    return min(count, last or (_LAST if in_table else count))
