"""What the named groups of a pattern find in a line -> readings. A group is a number where a limit on it is one, else text."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from typing import Any

from benchrig.errors import MalformedValue, UnfitValue
from benchrig.source.shape import LooseText, Misfit
from benchrig.steps.base import ReadingType
from benchrig.values.judging import shown, typed
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import KEYS
from benchrig.values.pattern import captured, group_names, matches
from benchrig.values.quantity import Quantity, as_number, is_number

_NUMBER = re.compile(r"[+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?")


class Groups:
    """Of one pattern, '' for none; `limits` are those that may be on a group."""

    def __init__(self, pattern: str, limits: Sequence[Mapping[str, Any]]) -> None:
        self._pattern, self._limits = pattern, limits

    @cached_property
    def names(self) -> list[str]:
        with contextlib.suppress(Misfit):  # told where the limit is read
            return group_names(self._pattern) if self._pattern else []
        return []

    @cached_property
    def types(self) -> dict[str, ReadingType]:
        return {name: self._type(name) for name in self.names}

    def _type(self, name: str) -> ReadingType:
        for limits in self._limits:
            unit = _unit_of(limits.get(name)) if isinstance(limits, Mapping) else None
            if unit is not None:
                return ReadingType("number", unit, f"what the group '{name}' found, as a number")
        return ReadingType("text", "", f"what the group '{name}' found", loose=True)

    def fits(self, text: str) -> bool:
        """Whether the pattern matches; every line fits none."""
        return not self._pattern or matches(self._pattern, text)

    def values(self, text: str) -> Iterator[tuple[str, Any, str]]:
        """Name, value and unit of each; None for one that found nothing. MalformedValue for no number where a limit wants
        one, UnfitValue where its unit does not fit the limit."""
        found = (captured(self._pattern, text) if self._pattern else None) or {}
        for name, kind in self.types.items():
            yield name, _value(name, found[name], kind) if name in found else None, kind.unit

    def readable(self, text: str) -> dict[str, Any]:
        """Those that can be read in this line."""
        found = (captured(self._pattern, text) if self._pattern else None) or {}
        values: dict[str, Any] = {}
        for name, part in found.items():
            with contextlib.suppress(MalformedValue):
                values[name] = _value(name, part, self.types[name])
        return values


def _unit_of(limit: Any) -> str | None:
    """The unit of the number that a limit is about, '' for none; None for a limit that is about no number."""
    if not isinstance(limit, Limit):
        return None
    for key in limit.keys():  # noqa: SIM118 - a limit is no mapping
        value, when = typed(getattr(limit, key)), KEYS[key].number
        if when == "measure" and isinstance(value, str):
            with contextlib.suppress(Misfit):
                return Quantity.from_source(value).unit.symbol
        if isinstance(value, Quantity):
            return value.unit.symbol
        if when == "always" or (when and is_number(value)):
            return ""
    return None


def _value(name: str, text: str, kind: ReadingType) -> Any:
    if kind.kind != "number":
        return LooseText(text)  # a later step reads it as what it needs there
    if _NUMBER.fullmatch(text):
        if kind.unit:
            raise UnfitValue(
                f"the group '{name}' found {text} without a unit, and its limit is in {kind.unit}",
                advice="take the unit into the group, or write the limit without one",
            )
        return as_number(Fraction(text))
    return _measured(name, text, kind.unit)


def _measured(name: str, text: str, unit: str) -> int | float:
    try:
        quantity = Quantity.from_source(text)
    except Misfit:
        raise MalformedValue(f"the group '{name}' found {shown(text)}, expected a number") from None
    try:
        if not unit:
            raise Misfit("its limit has none")
        return as_number(quantity.to(unit))
    except Misfit as misfit:
        raise UnfitValue(f"the group '{name}' found {shown(text)} with a unit: {misfit.message}") from misfit
