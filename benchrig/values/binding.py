"""Tying a limit to the kind and unit of a reading: wrong dimensions, bare numbers and inverted ranges show here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sized
from typing import Any, ClassVar

from benchrig.source.shape import Misfit, describe_value
from benchrig.values import bounds
from benchrig.values.judging import BoundLimit, Check, Kind, apart, difference_unit, shown, typed
from benchrig.values.limit_keys import Bits, Length
from benchrig.values.pattern import matches
from benchrig.values.quantity import as_number, exact, is_number
from benchrig.values.value import Word


def _is_text(value: Any) -> bool:
    """Text that is no word: '????-12-25' stands for a date that is not known and comes before or after nothing."""
    return isinstance(value, str) and not isinstance(value, Word)


class Binder:
    """Turns the keys of one limit, with what they take, into checks for one kind of reading."""

    ALLOWED: ClassVar[dict[Kind, tuple[str, ...]]] = {
        "number": ("equals", "min", "max", "nominal", "tolerance", "one_of", "bits"),
        "text": ("equals", "one_of", "matches", "contains", "length"),
        "time": ("equals", "min", "max", "one_of", "matches", "contains"),
        "bytes": ("equals", "one_of", "contains", "length", "bits"),
        "boolean": ("equals",),
        "list": ("equals", "min", "max", "nominal", "tolerance", "contains", "length"),
        "any": ("equals", "one_of"),
    }

    def __init__(self, given: Mapping[str, Any], kind: Kind, unit: str) -> None:
        self.given, self.kind, self.unit = given, kind, unit
        self.low: Any = None
        self.high: Any = None
        self.checks: list[Check] = []

    def bind(self) -> BoundLimit:
        for key in self.given:
            if key not in self.ALLOWED[self.kind]:
                allowed = ", ".join(self.ALLOWED[self.kind])
                if self.kind == "bytes" and key in self.ALLOWED["number"]:
                    allowed += "; or give the attribute a format, such as 'as: uint16'"
                raise Misfit(
                    f"'{key}' does not apply to a reading that is {_KIND_WORDS[self.kind]}",
                    f"write one of: {allowed}",
                    (key,),
                )
        for key, wanted in self.given.items():
            if key != "tolerance":
                getattr(self, f"_{key}")(wanted)
        if self.low is not None and self.high is not None and self.low > self.high:
            raise Misfit(
                f"min {self._text(self.low)} is above max {self._text(self.high)}, so nothing could pass",
                "exchange the two, or widen one",
                path=("min",) if "min" in self.given else ("nominal",),
            )
        bound = BoundLimit(tuple(self.checks), self.unit, self.low, self.high)
        # The checks hold this binder: without a way back from it to them, no cycle waits for the collector.
        del self.checks
        return bound

    # --- values of the limit, in the terms of the reading

    def _text(self, value: Any) -> str:
        return shown(value, self.unit)

    def _apart(self, difference: int | float) -> str:
        return shown(difference, difference_unit(self.unit))

    def _same_kind(self, value: Any, path: str) -> Any:
        """An `equals` or `one_of` value as the reading would have it."""
        if self.kind == "number":
            return bounds.number_or_word(value, self.unit, path)
        if self.kind == "bytes":
            return bounds.hex_bytes(value, path)
        if self.kind == "time":
            return bounds.point_in_time(value, path)
        if self.kind == "text":
            return self._as_text(value, path)
        value = typed(value)
        if self.kind == "boolean" and not isinstance(value, bool):
            raise Misfit(f"expected true or false, found {describe_value(value)}", "write true or false", (path,))
        return bounds.settled(value)

    def _as_text(self, value: Any, path: str) -> str:
        if not isinstance(value, str):
            raise Misfit(f"expected text, found {describe_value(value)}", f"quote it: '{value}'", (path,))
        return str(value)

    def _items(self, values: list[Any], path: str) -> list[Any]:
        """Items of a list as the reading would have them: quantities where it has a unit."""
        return (
            [bounds.number_or_word(item, self.unit, path) for item in values] if self.unit else bounds.settled(values)
        )

    # --- the keys

    def _equals(self, wanted: Any) -> None:
        if self.kind == "list":
            if not isinstance(wanted, list):
                raise Misfit(f"expected a list, found {describe_value(wanted)}", "write it in [ ]", ("equals",))
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
        found, due = apart(got, wanted, self.unit)
        text = f"{found} is not {due}"
        if is_number(got) and is_number(wanted):
            text += f" (off by {self._apart(as_number(abs(exact(got) - exact(wanted))))})"
        return text

    def _one_of(self, wanted: list[Any]) -> None:
        values = [self._same_kind(value, "one_of") for value in wanted]
        words = "one of " + ", ".join(self._text(value) for value in values)
        self._add(words, lambda got: _plain(got) in values, lambda got: f"{self._text(got)} is not {words}")

    def _min(self, wanted: Any) -> None:
        if isinstance(low := self._edge(wanted, "min"), Word):
            return
        self._bound(low, None)
        self._add(
            f"min {self._text(low)}",
            self._each(lambda got: bool(got >= low)),
            lambda got: self._beyond(got, low, "below the minimum", min),
        )

    def _max(self, wanted: Any) -> None:
        if isinstance(high := self._edge(wanted, "max"), Word):
            return
        self._bound(None, high)
        self._add(
            f"max {self._text(high)}",
            self._each(lambda got: bool(got <= high)),
            lambda got: self._beyond(got, high, "above the maximum", max),
        )

    def _edge(self, wanted: Any, key: str) -> Any:
        """A bound; the unit's own word where it gave one in place of a value."""
        if isinstance(wanted, Word):
            return self._nothing_fits(wanted, key)
        if self.kind != "time":
            return as_number(bounds.quantity(wanted, self.unit, key))
        point = bounds.point_in_time(wanted, key)
        if isinstance(point, Word):
            raise Misfit(f"'{point}' is not known to the day, so nothing comes before or after it", _WHOLE_DATE, (key,))
        return point

    def _nothing_fits(self, word: Word, key: str) -> Word:
        """The bound was saved from a reading, and the unit said a word such as 'not known' there: that is no mistake of
        the plan, and no value can be held against it."""
        self._add(
            f"{key} '{word}'",
            lambda got: False,
            lambda got: f"{self._text(got)} cannot be compared: the unit gave '{word}' for the {key}",
        )
        return word

    def _nominal(self, wanted: Any) -> None:
        around = self.given.get("tolerance")
        for key, word in (("nominal", wanted), ("tolerance", around)):
            if isinstance(word, Word):
                self._nothing_fits(word, key)
                return
        nominal = bounds.quantity(wanted, self.unit, "nominal")
        tolerance = bounds.tolerance(around, nominal, self.unit)
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

    def _beyond(self, got: Any, edge: Any, relation: str, farthest: Callable[[Any], Any]) -> str:
        """What to say of a value, or of the farthest one in a list, that is beyond an edge or no number at all."""
        worst = got
        if isinstance(got, (list, tuple)) and not got:
            return f"the list is empty: there is no value to compare with {self._text(edge)}"
        if self.kind == "list" and isinstance(got, (list, tuple)):
            odd = [item for item in got if not is_number(item)]
            worst = odd[0] if odd else farthest(got)
        if worst is None:
            return f"there is no value to compare with {self._text(edge)}"
        if not is_number(worst) or not is_number(edge):
            if self.kind == "time" and _is_text(worst):
                return f"{self._text(worst)} is {relation} {self._text(edge)}"
            what = "a point in time" if self.kind == "time" else "a number"
            return f"{self._text(worst)} is not {what} to compare with {self._text(edge)}"
        found, due = apart(worst, edge, self.unit)
        return f"{found} is {relation} {due} by {self._apart(as_number(abs(exact(worst) - exact(edge))))}"

    def _matches(self, wanted: str) -> None:
        self._add(
            f"matches '{wanted}'",
            lambda got: isinstance(got, str) and matches(wanted, got),
            lambda got: f"{self._text(got)} does not match '{wanted}'",
        )

    def _contains(self, wanted: Any) -> None:
        if wanted in ([], "", b""):
            raise Misfit("an empty 'contains' holds for everything", "write what has to be there", ("contains",))
        if self.kind == "bytes":
            parts: list[Any] = [bounds.hex_bytes(wanted, "contains")]
        elif self.kind == "list":
            parts = self._items(wanted if isinstance(wanted, list) else [wanted], "contains")
        else:
            parts = [self._as_text(wanted, "contains")]
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
        size = (wanted.mask.bit_length() + 7) // 8

        def integer(got: Any) -> int | None:
            if isinstance(got, (bytes, bytearray)):  # a bit that did not come is not 0
                return int.from_bytes(got, "little") if len(got) >= size else None
            return int(got) if is_number(got) and got == int(got) else None

        def explain(got: Any) -> str:
            value = integer(got)
            if value is None and isinstance(got, (bytes, bytearray)):
                return f"{self._text(got)} has {_length_of(got)}, the mask 0x{wanted.mask:02X} needs {size}"
            if value is None:
                return f"{self._text(got)} is not a whole number, so it has no bits"
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
            return lambda got: (
                isinstance(got, (list, tuple)) and bool(got) and all(right(item) and test(item) for item in got)
            )
        return lambda got: right(got) and test(got)

    def _bound(self, low: Any, high: Any) -> None:
        if low is not None:
            self.low = low if self.low is None else max(self.low, low)
        if high is not None:
            self.high = high if self.high is None else min(self.high, high)


_WHOLE_DATE = "write the year, the month and the day"

_KIND_WORDS: dict[Kind, str] = {
    "number": "a number", "text": "text", "time": "a date and time", "bytes": "bytes",
    "boolean": "true or false", "list": "a list", "any": "of no fixed kind",
}  # fmt: skip


def _any_below(got: Any, low: Any) -> bool:
    items = got if isinstance(got, (list, tuple)) else [got]
    return any(is_number(item) and item < low for item in items)


def _length_of(got: Any) -> str:
    return f"length {len(got)}" if isinstance(got, Sized) else "no length"


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, bytearray) else list(value) if isinstance(value, tuple) else value
