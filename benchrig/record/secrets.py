"""Secret given values: they reach the unit, and nothing that a run leaves behind or shows.

Every event goes through `Secrets.masked` before it is kept, written or shown, so that record, reports, table and log
have it from there. Masked are the value itself, the bytes that stand for it, and all that a step tells of a limit that
holds it: how far a reading is off would give it away.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

import msgspec

from benchrig.record.model import AnyEvent, Closed, Noted, Reading, Where
from benchrig.values.judging import Judgement
from benchrig.values.quantity import Quantity, is_number
from benchrig.values.value import Word

MASK = "********"
# What is shorter stands by chance in too much else.
SHORTEST = 4
_WIDTHS = (2, 3, 4, 8)
# What no value of a plan gets into, and what a report reads: a secret '2026' is no reason to hide a date.
_KEPT = frozenset({"event", "verdict", "cause", "kind", "section", "place", "run_id", "started", "plan_file", "plan_hash",
                   "versions", "station", "radio", "unit", "address_type", "where", "root", "id"})  # fmt: skip

T = TypeVar("T")


class Secrets:
    """The secret values of one run. `steps` are the ids of the steps that use one, with the readings that may
    tell it: those whose limits hold it, and what is read back of it."""

    def __init__(self, values: Iterable[str], steps: Mapping[str, frozenset[str]] | None = None) -> None:
        values = [*values]
        self._steps = steps or {}
        self._numbers = {number for value in values if (number := _number(value)) is not None}
        self._texts = dict.fromkeys(form for value in values for form in (value, *_bytes_of(value)) if form)
        self._said: dict[str, str] = {}

    def text(self, text: str) -> str:
        """The text without any of them."""
        for whole, masked in sorted(self._said.items(), key=lambda item: -len(item[0])):
            text = text.replace(whole, masked)
        for secret in sorted(self._texts, key=len, reverse=True):
            text = text.replace(secret, MASK)
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
        spaced = bytes.fromhex(octets).hex(" ").upper()
        if len(octets) >= SHORTEST:
            self._texts |= dict.fromkeys((spaced, octets))
        return msgspec.structs.replace(note, text=note.text.replace(spaced, MASK), sent=MASK)

    def _reading(self, reading: Reading) -> Reading:
        """One of a step that uses a secret: its bytes may be those that were sent."""
        hidden = not self._steps[reading.where.node].isdisjoint((reading.name, reading.name.partition(".")[0]))
        judgement = reading.judgement
        if hidden and judgement is not None:
            told = f"the value {'satisfies' if judgement.passed else 'does not satisfy'} a limit that is secret"
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
            judgement=judgement,
        )

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
        return self._data(item, is_reading=is_reading and key not in ("at", "samples", "judgement", "window"))


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
