"""Tying a limit to the kind and unit of a reading: wrong dimensions, bare numbers and inverted ranges show here."""

from __future__ import annotations

import re
from collections.abc import Callable, Sized
from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar

from benchrig.source.shape import Misfit, describe_value, octets
from benchrig.values.judging import BoundLimit, Check, Kind, difference_unit, shown, typed
from benchrig.values.pattern import matches
from benchrig.values.quantity import UNITS, Quantity, as_number, dimension_of, exact, is_number, number_text
from benchrig.values.value import Word

if TYPE_CHECKING:
    from benchrig.values.limit import Bits, Length, Limit


def _is_text(value: Any) -> bool:
    """Text that is no word: '????-12-25' stands for a date that is not known and comes before or after nothing."""
    return isinstance(value, str) and not isinstance(value, Word)


class Binder:
    """Turns the keys of one limit into checks for one kind of reading."""

    ALLOWED: ClassVar[dict[Kind, tuple[str, ...]]] = {
        "number": ("equals", "min", "max", "nominal", "tolerance", "one_of", "bits"),
        "text": ("equals", "one_of", "matches", "contains", "length"),
        "time": ("equals", "min", "max", "one_of", "matches", "contains"),
        "bytes": ("equals", "one_of", "contains", "length", "bits"),
        "boolean": ("equals",),
        "list": ("equals", "min", "max", "nominal", "tolerance", "contains", "length"),
        "any": ("equals", "one_of"),
    }

    def __init__(self, limit: Limit, kind: Kind, unit: str) -> None:
        self.limit, self.kind, self.unit = limit, kind, unit
        self.low: Any = None
        self.high: Any = None
        self.checks: list[Check] = []

    def bind(self) -> BoundLimit:
        keys = self.limit.keys()
        for key in keys:
            if key not in self.ALLOWED[self.kind]:
                allowed = ", ".join(self.ALLOWED[self.kind])
                if self.kind == "bytes" and key in self.ALLOWED["number"]:
                    allowed += "; or give the attribute a format, such as 'as: uint16'"
                raise Misfit(
                    f"'{key}' does not apply to a reading that is {_KIND_WORDS[self.kind]}",
                    f"what applies: {allowed}",
                    (key,),
                )
        for key in keys:
            if key != "tolerance":
                getattr(self, f"_{key}")(getattr(self.limit, key))
        if self.low is not None and self.high is not None and self.low > self.high:
            raise Misfit(
                f"min {self._text(self.low)} is above max {self._text(self.high)}, so nothing could pass",
                path=("min",) if "min" in keys else ("nominal",),
            )
        bound = BoundLimit(tuple(self.checks), self.unit, self.low, self.high)
        # The checks hold this binder: without a way back from it to them, no cycle waits for the collector.
        del self.checks, self.limit
        return bound

    # --- values of the limit, in the terms of the reading

    def _text(self, value: Any) -> str:
        return shown(value, self.unit)

    def _apart(self, difference: int | float) -> str:
        return shown(difference, difference_unit(self.unit))

    def _number(self, value: Any, path: str) -> int | float:
        return as_number(self._exact(value, path))

    def _exact(self, value: Any, path: str) -> Fraction:
        value = typed(value)
        if isinstance(value, str):
            value = _at(path, lambda: Quantity.from_source(value))
        if isinstance(value, Quantity):
            if not self.unit:
                raise Misfit(f"{value} has a unit, the reading has none", f"write {number_text(value.number)}", (path,))
            result: Fraction = _at(path, lambda: value.to(self.unit))
            return result
        if not is_number(value):
            raise Misfit(f"expected {self._expected()}, found {describe_value(value)}", path=(path,))
        if self.unit:
            raise Misfit(
                f"{number_text(value)} has no unit; the reading is a {dimension_of(self.unit)}",
                f"write {number_text(value)} {self.unit}",
                (path,),
            )
        return exact(value)

    def _expected(self) -> str:
        return f"a quantity such as 5 {self.unit}" if self.unit else "a number"

    def _same_kind(self, value: Any, path: str) -> Any:
        """An `equals` or `one_of` value as the reading would have it."""
        if self.kind == "number":
            return self._number_or_word(value, path)
        if self.kind == "bytes":
            return self._bytes(value, path)
        if self.kind in ("text", "time"):
            if not isinstance(value, str):
                raise Misfit(f"expected text, found {describe_value(value)}", f"quote it: '{value}'", (path,))
            return str(value)
        value = typed(value)
        if self.kind == "boolean" and not isinstance(value, bool):
            raise Misfit(f"expected true or false, found {describe_value(value)}", path=(path,))
        return _settled(value)

    def _number_or_word(self, value: Any, path: str) -> int | float | str:
        """A word such as 'not known' stands in place of a number."""
        if isinstance(value, str) and not re.match(r"[+-]?[0-9]", value):
            return str(value)
        return self._number(value, path)

    def _items(self, values: list[Any], path: str) -> list[Any]:
        """Items of a list as the reading would have them: quantities where it has a unit."""
        return [self._number_or_word(item, path) for item in values] if self.unit else _settled(values)

    def _bytes(self, value: Any, path: str) -> bytes:
        if isinstance(value, (bytes, bytearray)):
            return bytes(value)
        try:
            return octets(value)
        except Misfit as misfit:
            raise Misfit(misfit.message, misfit.advice, (path,)) from None

    # --- the keys

    def _equals(self, wanted: Any) -> None:
        if self.kind == "list":
            if not isinstance(wanted, list):
                raise Misfit(f"expected a list, found {describe_value(wanted)}", path=("equals",))
            value: Any = self._items(wanted, "equals")
        else:
            value = self._same_kind(wanted, "equals")
        if is_number(value):
            self._bound(value, value)
        self._add(
            f"equals {self._text(value)}",
            lambda got: bool(_plain(got) == value),
            lambda got: self._difference(got, value),
        )

    def _difference(self, got: Any, wanted: Any) -> str:
        text = f"{self._text(got)} is not {self._text(wanted)}"
        if is_number(got) and is_number(wanted):
            text += f" (off by {self._apart(as_number(abs(exact(got) - exact(wanted))))})"
        return text

    def _one_of(self, wanted: list[Any]) -> None:
        values = [self._same_kind(value, "one_of") for value in wanted]
        words = "one of " + ", ".join(self._text(value) for value in values)
        self._add(words, lambda got: _plain(got) in values, lambda got: f"{self._text(got)} is not {words}")

    def _min(self, wanted: Any) -> None:
        low = self._edge(wanted, "min")
        self._bound(low, None)
        self._add(
            f"min {self._text(low)}",
            self._each(lambda got: bool(got >= low)),
            lambda got: self._beyond(got, low, "below the minimum", min),
        )

    def _max(self, wanted: Any) -> None:
        high = self._edge(wanted, "max")
        self._bound(None, high)
        self._add(
            f"max {self._text(high)}",
            self._each(lambda got: bool(got <= high)),
            lambda got: self._beyond(got, high, "above the maximum", max),
        )

    def _edge(self, wanted: Any, path: str) -> Any:
        if self.kind != "time":
            return self._number(wanted, path)
        if not isinstance(wanted, str):
            raise Misfit(f"expected a date and time as text, found {describe_value(wanted)}", path=(path,))
        return str(wanted)

    def _nominal(self, wanted: Any) -> None:
        nominal = self._exact(wanted, "nominal")
        tolerance = self._tolerance(nominal)
        low, high = as_number(nominal - tolerance), as_number(nominal + tolerance)
        self._bound(low, high)
        words = f"{self._text(as_number(nominal))} ± {self._apart(as_number(tolerance))}"
        self._add(
            words,
            self._each(lambda got: bool(low <= got <= high)),
            lambda got: (
                self._beyond(got, low, f"below {words}, lowest", min)
                if _any_below(got, low)
                else self._beyond(got, high, f"above {words}, highest", max)
            ),
        )

    def _tolerance(self, nominal: Fraction) -> Fraction:
        """As a difference in the reading's unit. Percent is of the nominal, unless the reading itself is in percent."""
        value = typed(self.limit.tolerance)
        if isinstance(value, str):
            value = _at("tolerance", lambda: Quantity.from_source(value))
        if isinstance(value, Quantity):
            if value.unit is UNITS["%"] and dimension_of(self.unit) != "ratio":
                result = abs(nominal) * value.number / 100
            elif self.unit:
                result = _at("tolerance", lambda: value.difference_to(self.unit))
            else:
                raise Misfit(f"{value} has a unit, the reading has none", path=("tolerance",))
        else:
            result = self._exact(value, "tolerance")
        if result < 0:
            raise Misfit("a tolerance cannot be negative", path=("tolerance",))
        return result

    def _beyond(self, got: Any, edge: Any, relation: str, farthest: Callable[[Any], Any]) -> str:
        """What to say of a value, or of the farthest one in a list, that is beyond an edge or no number at all."""
        worst = got
        if self.kind == "list" and isinstance(got, (list, tuple)):
            odd = [item for item in got if not is_number(item)]
            worst = odd[0] if odd else farthest(got)
        if worst is None:
            return f"there is no value to compare with {self._text(edge)}"
        if not is_number(worst) or not is_number(edge):
            if self.kind == "time" and isinstance(worst, str):
                return f"{self._text(worst)} is {relation} {self._text(edge)}"
            return f"{self._text(worst)} is no number to compare with {self._text(edge)}"
        by = as_number(abs(exact(worst) - exact(edge)))
        return f"{self._text(worst)} is {relation} {self._text(edge)} by {self._apart(by)}"

    def _matches(self, wanted: str) -> None:
        self._add(
            f"matches '{wanted}'",
            lambda got: isinstance(got, str) and matches(wanted, got),
            lambda got: f"{self._text(got)} does not match '{wanted}'",
        )

    def _contains(self, wanted: Any) -> None:
        if self.kind == "bytes":
            parts: list[Any] = [self._bytes(wanted, "contains")]
        elif self.kind == "list":
            parts = self._items(wanted if isinstance(wanted, list) else [wanted], "contains")
        else:
            parts = [self._same_kind(wanted, "contains")]
        words = "contains " + ", ".join(self._text(part) for part in parts)

        holds = {"bytes": (bytes, bytearray), "list": (list, tuple)}.get(self.kind, (str,))

        def missing(got: Any) -> list[Any]:
            return [part for part in parts if not isinstance(got, holds) or part not in got]

        self._add(
            words,
            lambda got: not missing(got),
            lambda got: f"{self._text(got)} lacks " + ", ".join(self._text(part) for part in missing(got)),
        )

    def _bits(self, wanted: Bits) -> None:
        def integer(got: Any) -> int | None:
            if isinstance(got, (bytes, bytearray)):
                return int.from_bytes(got, "little")
            return int(got) if is_number(got) and got == int(got) else None

        def explain(got: Any) -> str:
            value = integer(got)
            if value is None:
                return f"{self._text(got)} is no whole number, so it has no bits"
            return f"0x{value:02X} has 0x{value & wanted.mask:02X} under the mask 0x{wanted.mask:02X}, not 0x{wanted.value:02X}"

        self._add(
            f"bits 0x{wanted.value:02X} under mask 0x{wanted.mask:02X}",
            lambda got: (value := integer(got)) is not None and value & wanted.mask == wanted.value,
            explain,
        )

    def _length(self, wanted: Length) -> None:
        low, high = wanted.min or 0, wanted.max
        words = (
            f"length {low}"
            if low == high
            else f"length {low} to {high}"
            if high is not None
            else f"length at least {low}"
        )
        self._add(
            words,
            lambda got: isinstance(got, Sized) and low <= len(got) and (high is None or len(got) <= high),
            lambda got: f"{self._text(got)} has {_length_of(got)}, not {words.removeprefix('length ')}",
        )

    # --- helpers

    def _add(self, words: str, passes: Callable[[Any], bool], explain: Callable[[Any], str]) -> None:
        self.checks.append(Check(words, passes, explain))

    def _each(self, test: Callable[[Any], bool]) -> Callable[[Any], bool]:
        """The test on a value of the right kind; on a list, on every item of it."""
        right: Callable[[Any], bool] = _is_text if self.kind == "time" else is_number
        if self.kind == "list":
            return lambda got: isinstance(got, (list, tuple)) and all(right(item) and test(item) for item in got)
        return lambda got: right(got) and test(got)

    def _bound(self, low: Any, high: Any) -> None:
        if low is not None:
            self.low = low if self.low is None else max(self.low, low)
        if high is not None:
            self.high = high if self.high is None else min(self.high, high)


_KIND_WORDS: dict[Kind, str] = {
    "number": "a number", "text": "text", "time": "a date and time", "bytes": "bytes",
    "boolean": "true or false", "list": "a list", "any": "of no fixed kind",
}  # fmt: skip


def _any_below(got: Any, low: Any) -> bool:
    items = got if isinstance(got, (list, tuple)) else [got]
    return any(is_number(item) and item < low for item in items)


def _length_of(got: Any) -> str:
    return f"length {len(got)}" if isinstance(got, Sized) else "no length"


def _settled(value: Any) -> Any:
    """A value of the plan with its numbers as readings have them, however deep."""
    if isinstance(value, list):
        return [_settled(item) for item in value]
    if isinstance(value, dict):
        return {key: _settled(item) for key, item in value.items()}
    return as_number(exact(value)) if is_number(value) else value


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, bytearray) else list(value) if isinstance(value, tuple) else value


def _at(path: str, action: Callable[[], Any]) -> Any:
    """Run the action; a misfit in it belongs to the key `path`."""
    try:
        return action()
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, (path, *misfit.path)) from misfit
