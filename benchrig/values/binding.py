"""Tying a limit to the kind and unit of a reading: wrong dimensions, bare numbers and inverted ranges show here."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping, Sized
from typing import Any

from benchrig.source.shape import Misfit, describe_value
from benchrig.values import bounds
from benchrig.values.crc import Crc
from benchrig.values.judging import RISING, BoundLimit, Check, Kind, apart, difference_unit, shown, typed
from benchrig.values.limit_keys import KEYS, Bits, Length
from benchrig.values.pattern import matches
from benchrig.values.quantity import as_number, exact, is_number
from benchrig.values.range import Range
from benchrig.values.value import Word


def _is_text(value: Any) -> bool:
    """Text that is no word: '????-12-25' stands for a date that is not known and comes before or after nothing."""
    return isinstance(value, str) and not isinstance(value, Word)


_BOUNDS = ("min", "above", "max", "below")


def _is_time(value: Any, kind: Kind) -> bool:
    return kind == "time" and _is_text(value)


class Binder:
    """Turns the keys of one limit, with what they take, into checks for one kind of reading."""

    def __init__(self, given: Mapping[str, Any], kind: Kind, unit: str) -> None:
        self.given, self.kind, self.unit = given, kind, unit
        self.range = Range()
        self.checks: list[Check] = []
        # the values of equals and one_of
        self.named: list[Any] = []

    def bind(self) -> BoundLimit:
        for key in self.given:
            if self.kind not in KEYS[key].kinds:
                raise self._does_not_apply(key)
        for key, wanted in self.given.items():
            if key in _BOUNDS:
                self._side(key, wanted)
            elif key != "tolerance":
                getattr(self, f"_{key}")(wanted)
        ends = self.range
        if ends.is_empty:
            key = next(key for key in (*_BOUNDS, "nominal", "equals") if key in self.given)
            raise Misfit(ends.conflict(self._text), "exchange the two, or widen one", path=(key,))
        self._check_named()
        bound = BoundLimit(
            tuple(self.checks),
            self.unit,
            ends.low,
            ends.high,
            low_open=ends.low_open,
            high_open=ends.high_open,
            needs_samples=any(KEYS[key].needs_samples for key in self.given),
        )
        # The checks hold this binder: without a way back from it to them, no cycle waits for the collector.
        del self.checks
        return bound

    def _does_not_apply(self, key: str) -> Misfit:
        allowed = ", ".join(name for name, each in KEYS.items() if self.kind in each.kinds)
        if self.kind == "bytes" and "number" in KEYS[key].kinds:
            allowed += "; or give the attribute a format, such as 'as: uint16'"
        message = f"'{key}' does not apply to a reading that is {_KIND_WORDS[self.kind]}"
        return Misfit(message, f"write one of: {allowed}", (key,))

    def _check_named(self) -> None:
        """Values that the limit names must satisfy its other keys."""
        if not self.named:
            return
        others = [name for name, key in KEYS.items() if key.excludes and name in self.given]
        if others and not any(all(check.passes(v) for check in self.checks) for v in self.named):
            key = "equals" if "equals" in self.given else "one_of"
            raise Misfit(f"{key} and {others[0]} exclude each other, so nothing could pass", "keep one", (others[0],))

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
            self.range.narrow(value, value)
        self.named = [value]
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
        self.named = self.named or values
        words = "one of " + ", ".join(self._text(value) for value in values)
        self._add(words, lambda got: _plain(got) in values, lambda got: f"{self._text(got)} is not {words}")

    def _differs(self, wanted: Any) -> None:
        is_list = isinstance(wanted, list) and self.kind in ("list", "any")
        value = self._items(wanted, "differs") if is_list else self._same_kind(wanted, "differs")
        is_word = isinstance(value, str) and self.kind in ("number", "time") and not _is_time(value, self.kind)
        comparable = _COMPARABLE["any" if is_word else self.kind]
        if is_word and isinstance(
            wanted, Word
        ):  # the unit gave it: of a number nobody knows whether it differs from that
            comparable = _COMPARABLE["text"]
        self._add(
            f"differs from {self._text(value)}",
            lambda got: comparable(got) and bool(_plain(got) != value),
            lambda got: self._not_different(got, value, comparable(got)),
        )

    def _not_different(self, got: Any, value: Any, comparable: bool) -> str:
        if comparable:
            return f"{self._text(got)} does not differ from {self._text(value)}"
        if got is None:
            return f"there is no value to compare with {self._text(value)}"
        return f"{self._text(got)} is not {_KIND_WORDS[self.kind]} to compare with {self._text(value)}"

    def _side(self, key: str, wanted: Any) -> None:
        """min, above, max, below."""
        if isinstance(edge := self._edge(wanted, key), Word):
            return
        passes, relation, low, strict = _SIDES[key]
        self.range.narrow(edge if low else None, None if low else edge, strict=strict)
        self._add(
            f"{key} {self._text(edge)}",
            self._each(lambda got: bool(passes(got, edge))),
            lambda got: self._beyond(got, edge, relation, min if low else max),
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
        self.range.narrow(low, high)
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
        far = as_number(abs(exact(worst) - exact(edge)))
        return f"{found} is {relation} {due}" + (f" by {self._apart(far)}" if far else "")

    def _matches(self, wanted: str) -> None:
        self._add(
            f"matches '{wanted}'",
            lambda got: isinstance(got, str) and matches(wanted, got),
            lambda got: f"{self._text(got)} does not match '{wanted}'",
        )

    def _contains(self, wanted: Any) -> None:
        parts = self._parts(
            wanted, "contains", "an empty 'contains' holds for everything", "write what has to be there"
        )
        holders = _HOLDERS.get(self.kind, str)

        def missing(got: Any) -> list[Any]:
            return [part for part in parts if not isinstance(got, holders) or part not in got]

        self._add(
            "contains " + self._listed(parts),
            lambda got: not missing(got),
            lambda got: f"{self._text(got)} lacks {self._listed(missing(got))}",
        )

    def _lacks(self, wanted: Any) -> None:
        parts = self._parts(wanted, "lacks", "an empty 'lacks' forbids nothing", "write what must not be there")
        for there in self._parts(self.given["contains"], "contains", "", "") if "contains" in self.given else []:
            within = self.kind != "list" and any(part in there for part in parts)
            if there in parts or within:
                message = f"what contains {self._text(there)} cannot lack that, so nothing could pass"
                raise Misfit(message, "keep one of the two", ("lacks",))
        holders = _HOLDERS.get(self.kind, str)

        def found(got: Any) -> list[Any]:
            return [part for part in parts if part in got]

        self._add(
            "lacks " + self._listed(parts),
            lambda got: isinstance(got, holders) and not found(got),
            lambda got: (
                f"{self._text(got)} contains {self._listed(found(got))}"
                if isinstance(got, holders)
                else f"{self._text(got)} is not {_KIND_WORDS[self.kind]}"
            ),
        )

    def _parts(self, wanted: Any, key: str, empty: str, advice: str) -> list[Any]:
        """What a reading contains or lacks, as the reading would have it."""
        if wanted in ([], "", b""):
            raise Misfit(empty, advice, (key,))
        if self.kind == "bytes":
            return [bounds.hex_bytes(wanted, key)]
        if self.kind == "list":
            return self._items(wanted if isinstance(wanted, list) else [wanted], key)
        return [self._as_text(wanted, key)]

    def _listed(self, parts: list[Any]) -> str:
        return ", ".join(self._text(part) for part in parts)

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

    def _crc(self, wanted: Crc) -> None:
        length = self.given.get("length")
        if isinstance(length, Length) and length.max is not None and length.max <= wanted.size:
            message = f"{wanted.words} takes {wanted.size} bytes, so a length of {length.max} leaves no data"
            raise Misfit(message, "widen the length", ("length",))
        self._add(f"ends with its {wanted.words}", wanted.fits, lambda got: wanted.misfit(got, self._text(got)))

    def _rising(self, wanted: bool) -> None:
        if "equals" in self.given:
            raise Misfit("equals and rising exclude each other", "keep one of the two", ("rising",))
        self._add(RISING, lambda got: False, lambda got: f"{self._text(got)} is one value, which cannot rise")

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


_WHOLE_DATE = "write the year, the month and the day"

# per key: the test, what a value beyond it is, whether it is the lower end, whether the end itself is outside
_SIDES: dict[str, tuple[Callable[[Any, Any], Any], str, bool, bool]] = {
    "min": (operator.ge, "below the minimum", True, False),
    "above": (operator.gt, "not above", True, True),
    "max": (operator.le, "above the maximum", False, False),
    "below": (operator.lt, "not below", False, True),
}

# What a value must be to differ from another: of what is not known nobody can say that it does.
_COMPARABLE: dict[Kind, Callable[[Any], bool]] = {
    "number": is_number, "time": _is_text, "text": lambda got: isinstance(got, str),
    "bytes": lambda got: isinstance(got, (bytes, bytearray)), "boolean": lambda got: isinstance(got, bool),
    "list": lambda got: isinstance(got, (list, tuple)), "any": lambda got: got is not None,
}  # fmt: skip

# What can contain something, where it is not text.
_HOLDERS: dict[Kind, Any] = {"bytes": (bytes, bytearray), "list": (list, tuple)}

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
