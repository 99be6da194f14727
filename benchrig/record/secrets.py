"""Secret given values, and the numbers of a pairing: they reach the unit, and nothing that a run leaves behind or shows.

Every event goes through `Secrets.masked` before it is kept, written or shown, so that record, reports, table and log
have it from there. Masked are the value itself, the bytes that stand for it, and all that a step tells of a limit that
holds it: how far a reading is off would give it away.
"""

from __future__ import annotations

import contextlib
import copy
import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

import msgspec

from benchrig.record.events import AnyEvent, Closed, Noted, Reading, Where
from benchrig.record.model import Execution, Record
from benchrig.values.judging import Judgement, accepted
from benchrig.values.passkey import SIX_DIGITS, digits_of
from benchrig.values.quantity import Quantity, is_number
from benchrig.values.value import Word

MASK = "********"
# All readings of a step; those that are texts.
ALL, TEXTS = "*", "* text"
# What is shorter stands by chance in too much else.
SHORTEST = 4
_WIDTHS = (2, 3, 4, 8)
# What no value of a plan gets into, and what a report reads: a secret '2026' is no reason to hide a date.
_KEPT = frozenset({"event", "verdict", "cause", "kind", "section", "place", "run_id", "started", "plan_file", "plan_hash",
                   "versions", "station", "radio", "unit", "address_type", "where", "root", "id"})  # fmt: skip

# What may be a number of a pairing
# in a line of a console, however it is put there: pin842517, 842-517
_ANY_SIX = re.compile(r"(?<![0-9])[0-9]{3}[ -]?[0-9]{3}(?![0-9])")

# Of a reading, what has numbers that count or tell the time.
_COUNTS = frozenset({"at", "samples", "judgement", "window", "every", "left_out"})

T = TypeVar("T")


def octets(text: str | None) -> bytes | None:
    """The bytes that a record tells of a reading or of what was sent; None also for secret ones."""
    return None if text is None or text == MASK else bytes.fromhex(text)


class Secrets:
    """The secret values of one run. `steps` are the ids of the steps that use one, with the readings that may
    tell it: those whose limits hold it, and what is read back of it. `pairs`: numbers of pairings are among them, which
    become known while the run goes on."""

    def __init__(
        self, values: Iterable[str], steps: Mapping[str, frozenset[str]] | None = None, *, pairs: bool = False
    ) -> None:
        self._steps = steps or {}
        self._pairs = pairs
        self._numbers = set[Any]()
        self._texts = dict[str, None]()
        self._digits = set[str]()
        self._said: dict[str, str] = {}
        for value in values:
            self.learn(value)

    def learn(self, value: str) -> None:
        """One more. Six digits of a pairing are also part of longer numbers, which are none."""
        if self._pairs and SIX_DIGITS.fullmatch(value):
            self._digits |= _digits_of(value)
            self._texts |= dict.fromkeys(_bytes_of_digits(value))
            self._numbers |= {int(value)} if int(value) > _SMALL else set()
            return
        number = _number(value)
        self._numbers |= set() if number is None else {number}
        self._texts |= dict.fromkeys(form for form in (value, *_bytes_of(value)) if form)

    def hide(self, steps: Mapping[str, frozenset[str]]) -> None:
        """More steps that use one, with the readings that may tell it."""
        self._steps = {**self._steps, **steps}

    def merge(self, other: Secrets) -> None:
        """Those of others beside these."""
        self._steps, self._pairs = {**self._steps, **other._steps}, self._pairs or other._pairs
        self._numbers |= other._numbers
        self._texts |= other._texts
        self._digits |= other._digits

    def line(self, text: str) -> str:
        """A line of a console, which is kept at once: a number of a pairing that comes up in it is not known yet."""
        hidden = self.text(text)
        return _ANY_SIX.sub(MASK, hidden) if self._pairs else hidden

    def text(self, text: str) -> str:
        """The text without any of them."""
        for whole, masked in sorted(self._said.items(), key=lambda item: -len(item[0])):
            text = text.replace(whole, masked)
        for secret in sorted(self._texts, key=len, reverse=True):
            text = text.replace(secret, MASK)
        for digits in self._digits:
            if digits in text:
                text = re.sub(f"(?<![0-9A-Za-z]){digits}(?![0-9A-Za-z])", MASK, text)
        return text

    def masked(self, event: AnyEvent) -> AnyEvent:
        if isinstance(event, Reading) and event.where.node in self._steps:
            event = self._reading(event)
        elif isinstance(event, Noted) and self._is_of(event.where) and event.sent:
            event = self._sent(event, event.sent)
        elif isinstance(event, Closed) and event.tells in self._steps.get(event.where.node, ()):
            # a device that keeps a part of it gives that away
            self._said[event.own_message] = "the device did not keep the secret value"
        elif isinstance(event, Closed) and event.where.node in self._steps and event.cause == "plan":
            event = msgspec.structs.replace(
                event, message="a secret value does not fit where it is used", advice="", own=None
            )
        return self._everywhere(event)

    def _is_of(self, where: Where | None) -> bool:
        return where is not None and where.node in self._steps

    def _sent(self, note: Noted, octets: str) -> Noted:
        """Bytes that were sent with a secret in them stand for it, in whatever format, when they are read back too."""
        data = bytes.fromhex(octets)
        spaced = data.hex(" ").upper()
        self._said[accepted(data)] = f"the device accepted {MASK}"
        if len(octets) >= SHORTEST:
            self._texts |= dict.fromkeys((spaced, octets))
        return msgspec.structs.replace(note, text=note.text.replace(spaced, MASK), sent=MASK)

    def _reading(self, reading: Reading) -> Reading:
        """One of a step that uses a secret: its bytes may be those that were sent."""
        telling = self._steps[reading.where.node]
        hidden = not telling.isdisjoint((reading.name, reading.name.partition(".")[0])) or self._may_be(
            reading, telling
        )
        judgement = reading.judgement
        if hidden and judgement is not None:
            told = f"the value {'satisfies' if judgement.passed else 'does not satisfy'} a limit that is secret"
            told += "" if judgement.passed else _broken(judgement)
            self._said[judgement.sentence] = told
            judgement = Judgement(judgement.passed, "(secret)", told, place=judgement.place)
        value = MASK if hidden else reading.value
        # bytes that are shown as the value are no secret besides
        raw = value if reading.raw == reading.value else MASK
        return msgspec.structs.replace(
            reading,
            value=value,
            raw=None if reading.raw is None else raw,
            samples=None if hidden else reading.samples,
            kept=None if hidden else reading.kept,
            judgement=judgement,
        )

    def _may_be(self, reading: Reading, telling: frozenset[str]) -> bool:
        """Whether a reading may have the number of a pairing in it; one that is nothing else is known from here on."""
        value = reading.value
        if telling.isdisjoint((ALL, TEXTS)):
            return False
        if isinstance(value, int) and not isinstance(value, bool) and (ALL in telling or value > _SMALL):
            text = digits_of(value)
        else:
            text = value if isinstance(value, str) else ""
        if SIX_DIGITS.fullmatch(text):
            self.learn(text)
        return isinstance(value, str) or bool(text)

    def _everywhere(self, event: T) -> T:
        """The event with every text and number of it looked through."""
        plain = msgspec.to_builtins(event, enc_hook=_plain_word)
        return msgspec.convert(self._data(plain, is_reading=isinstance(event, Reading)), type(event))

    def _data(self, data: Any, *, is_reading: bool = False) -> Any:
        if isinstance(data, str):
            return self.text(data)
        if isinstance(data, list):
            return [self._data(item, is_reading=is_reading) for item in data]
        if isinstance(data, dict):
            return {key: self._entry(key, item, is_reading) for key, item in data.items()}
        return MASK if is_reading and is_number(data) and data in self._numbers else data

    def _entry(self, key: str, item: Any, is_reading: bool) -> Any:
        if key in _KEPT:
            return item
        # a number is a secret where a reading has its value, not where it counts steps or seconds
        return self._data(item, is_reading=is_reading and key not in _COUNTS)


def without_hidden(record: Record) -> Record:
    """The record, or a copy without the readings and the bytes in it that are hidden: for what goes by values."""
    if not any(_has_hidden(each) for each in record.executions):
        return record
    copied = copy.deepcopy(record)
    for each in copied.executions:
        each.notes = [
            msgspec.structs.replace(note, sent=None) if MASK in (note.sent or "") else note for note in each.notes
        ]
        for attempt in each.attempts:
            attempt.readings = [reading for reading in attempt.readings if not _is_hidden(reading)]
    return copied


def _has_hidden(step: Execution) -> bool:
    readings = (reading for attempt in step.attempts for reading in attempt.readings)
    return any(MASK in (note.sent or "") for note in step.notes) or any(map(_is_hidden, readings))


def _is_hidden(reading: Reading) -> bool:
    return reading.value == MASK or MASK in (reading.raw or "")


# Numbers up to this one are common: what has them by chance must stay readable.
_SMALL = 9999


def _digits_of(value: str) -> set[str]:
    """The digits as they are written, and as a number, and in two groups."""
    short = value.lstrip("0")
    return {value, f"{value[:3]} {value[3:]}", *([short] if len(short) > len(str(_SMALL)) else [])}


def _bytes_of_digits(value: str) -> Iterable[str]:
    """As text, and as a number of four bytes where no other number is meant by them."""
    meant = [value.encode("ascii"), value.encode("utf-16-le")]
    number = int(value)
    meant += [number.to_bytes(4, order) for order in ("little", "big")] if number > 0xFFFF else []
    for data in meant:
        yield from (data.hex(" ").upper(), data.hex().upper(), data.hex())


def _number(value: str) -> Any:
    with contextlib.suppress(Exception):
        return Quantity.from_source(value).number
    with contextlib.suppress(ValueError):
        return int(value)
    with contextlib.suppress(ValueError):
        return float(value)
    return None


def _bytes_of(value: str) -> Iterable[str]:
    """The bytes that may stand for a value, as hex text in every way that benchrig writes it."""
    meant = [value.encode("utf-8", "surrogatepass"), value.encode("utf-16-le", "surrogatepass")]
    with contextlib.suppress(ValueError):
        meant.append(bytes.fromhex(value))
    with contextlib.suppress(ValueError, OverflowError):
        number = int(value, 0)
        meant += [number.to_bytes(width, order) for width in _WIDTHS for order in ("little", "big")
                  if number.bit_length() > 8 * (width - 1)]  # fmt: skip
    for data in meant:
        if len(data) >= SHORTEST // 2:
            yield from (data.hex(" ").upper(), data.hex().upper(), data.hex())


def _plain_word(value: Any) -> str:
    assert isinstance(value, Word)
    return str(value)


def _broken(judgement: Judgement) -> str:
    """How a limit was broken, without a value of it."""
    if judgement.limit.startswith("differs from ") and " does not differ from " in judgement.sentence:
        return ": it is the same as one that it must differ from"
    return ": it is another one" if judgement.limit.startswith("equals ") else ""
