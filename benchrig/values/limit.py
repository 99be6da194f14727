"""Limits: what a reading must satisfy, and the sentence that says whether it does.

A limit is written without knowing the reading; `bind` ties it to the kind and unit of one, which is where wrong
dimensions, bare numbers and inverted ranges are found. Binding happens once a reading, judging once a sample.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterable, Sized
from dataclasses import dataclass
from decimal import Context, Decimal
from fractions import Fraction
from functools import cached_property
from typing import Any, ClassVar, Literal, TypeAlias

import msgspec

from benchrig.source.problem import printable
from benchrig.source.shape import LooseText, Misfit, describe_value
from benchrig.source.yaml import Refused, plain_scalar
from benchrig.values.quantity import UNITS, Quantity, as_number, dimension_of, exact, is_number, number_text
from benchrig.values.value import Word

Kind: TypeAlias = Literal["number", "text", "bytes", "boolean", "time", "list", "any"]

_ABSENT: Any = msgspec.UNSET
SHOWN = 120


class Judgement(msgspec.Struct, omit_defaults=True, frozen=True):
    """A limit applied to a reading. `low` and `high` are the bounds in the reading's unit where the limit has any;
    `limit` is the whole limit in words; `sentence` says what was found, against what, and by how much; `margin` is
    the distance to the nearest bound in the reading's unit, negative outside. `place` is 'file:line' of the limit."""

    passed: bool
    limit: str
    sentence: str
    low: Any = None
    high: Any = None
    margin: float | None = None
    place: str = ""


class AnyValue:
    """Any single value or list; what it means depends on the reading it is held against."""

    source_schema: ClassVar[dict[str, Any]] = {"description": "a value, or a list of values"}

    @classmethod
    def from_source(cls, value: Any) -> Any:
        return value


class Measure(AnyValue):
    """A number or a quantity."""

    source_schema: ClassVar[dict[str, Any]] = {"type": ["number", "string"]}

    @classmethod
    def from_source(cls, value: Any) -> Any:
        if isinstance(value, (dict, list, bool)) or value is None:
            raise Misfit(f"expected a number or a quantity, found {describe_value(value)}")
        return value


class Regex(str):
    """A regular expression that the whole text must match."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string", "format": "regex"}

    @classmethod
    def from_source(cls, value: Any) -> Regex:
        if not isinstance(value, str):
            raise Misfit(
                f"expected a regular expression as text, found {describe_value(value)}", f"quote it: '{value}'"
            )
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")  # of what other versions of Python would read differently
                re.compile(value)
        except (re.error, RecursionError, OverflowError, Warning) as exc:
            raise Misfit(f"'{value}' is no regular expression: {exc}") from exc
        return cls(value)


class Bits(msgspec.Struct, frozen=True):
    """The bits under `mask` must be as in `value`."""

    mask: int
    value: int

    def misfits(self) -> Iterable[Misfit]:
        if self.mask <= 0:
            yield Misfit("the mask selects no bit", path=("mask",))
        elif self.value & ~self.mask:
            yield Misfit(f"the value 0x{self.value:X} has bits outside the mask 0x{self.mask:X}", path=("value",))


class Length:
    """A number of bytes, characters or items: exactly so many, or a range."""

    __slots__ = ("max", "min")
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "integer"}, {"type": "object", "additionalProperties": False,
                  "properties": {"min": {"type": "integer"}, "max": {"type": "integer"}}}]
    }  # fmt: skip

    def __init__(self, min: int | None, max: int | None) -> None:
        self.min = min
        self.max = max

    @classmethod
    def from_source(cls, value: Any) -> Length:
        value = typed(value)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return cls(value, value)
        if isinstance(value, dict) and value and value.keys() <= {"min", "max"}:
            low, high = value.get("min"), value.get("max")
            if all(v is None or (isinstance(v, int) and not isinstance(v, bool) and v >= 0) for v in (low, high)):
                if low is not None and high is not None and low > high:
                    raise Misfit(f"min {low} is above max {high}")
                return cls(low, high)
        raise Misfit(f"expected a length, found {describe_value(value)}", "for example: 8, or {min: 1, max: 20}")


class Limit(msgspec.Struct, frozen=True, omit_defaults=True, dict=True):  # dict: for the cached property
    """What a reading must satisfy; several keys must all hold."""

    equals: AnyValue = _ABSENT
    min: Measure = _ABSENT
    max: Measure = _ABSENT
    nominal: Measure = _ABSENT
    tolerance: Measure = _ABSENT
    one_of: list[AnyValue] = _ABSENT
    matches: Regex = _ABSENT
    contains: AnyValue = _ABSENT
    bits: Bits = _ABSENT
    length: Length = _ABSENT

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong whatever the reading is."""
        if not self.keys():
            yield Misfit("an empty limit", "write at least one of " + ", ".join(self.__struct_fields__))
        if (self.nominal is _ABSENT) != (self.tolerance is _ABSENT):
            have, need = ("nominal", "tolerance") if self.tolerance is _ABSENT else ("tolerance", "nominal")
            yield Misfit(f"{have} without {need}", f"add {need}", (have,))
        if self.one_of is not _ABSENT and not self.one_of:
            yield Misfit("one_of is empty, so nothing could pass", path=("one_of",))

    def keys(self) -> list[str]:
        """The keys that are given, in the order of the language."""
        return [name for name in self.__struct_fields__ if getattr(self, name) is not _ABSENT]

    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]:
        """Everything that keeps the limit from applying to readings of one kind and unit."""
        try:
            self.bind(kind, unit)
        except Misfit as whole:
            return self._misfits_of_keys(kind, unit) or [whole]
        return []

    def _misfits_of_keys(self, kind: Kind, unit: str) -> list[Misfit]:
        """What is wrong with each key by itself: `bind` stops at the first."""
        found: list[Misfit] = []
        for key in self.keys():
            pair = {"nominal": ("nominal", "tolerance"), "tolerance": ()}.get(key, (key,))
            try:
                Limit(**{name: getattr(self, name) for name in pair}).bind(kind, unit)
            except Misfit as misfit:
                found.append(misfit)
        return found

    def bind(self, kind: Kind, unit: str = "") -> BoundLimit:
        """The limit for readings of one kind and unit. Raises Misfit when it cannot apply to them."""
        bound = self._bounds.get((kind, unit))
        if bound is None:
            bound = self._bounds[kind, unit] = _Binder(self, kind, unit).bind()
        return bound

    @cached_property
    def _bounds(self) -> dict[tuple[Kind, str], BoundLimit]:
        """What has been bound: the check of a plan does it for the run."""
        return {}


def typed(value: Any) -> Any:
    """Text from the command line as the value it would be in a file."""
    if isinstance(value, LooseText):
        scalar = plain_scalar(value)
        return str(value) if isinstance(scalar, Refused) else scalar
    return value


def kind_of(value: Any, unit: str = "") -> Kind:
    """The kind of a value at hand."""
    if isinstance(value, bool):
        return "boolean"
    if isinstance(value, (list, tuple)):
        return "list"
    if unit or isinstance(value, (int, float)):
        return "number"
    if isinstance(value, (bytes, bytearray)):
        return "bytes"
    return "text" if isinstance(value, str) else "any"


@dataclass(frozen=True)
class _Check:
    """One condition: its words, the test, and what to say of a value that passes or breaks it."""

    words: str
    passes: Callable[[Any], bool]
    explain: Callable[[Any], str]


@dataclass(frozen=True)
class BoundLimit:
    """A limit ready to judge values of one kind and unit. `low` and `high` are in that unit."""

    checks: tuple[_Check, ...]
    unit: str
    low: Any = None
    high: Any = None

    @property
    def words(self) -> str:
        return " and ".join([check.words for check in self.checks])

    def passes(self, value: Any) -> bool:
        return all(check.passes(value) for check in self.checks)

    def judge(self, value: Any, place: str = "") -> Judgement:
        """The verdict on one value, with its sentence; `place` is that of the limit, 'file:line'."""
        broken = [check for check in self.checks if not check.passes(value)]
        words = self.words
        sentence = "; ".join([check.explain(value) for check in broken])
        return Judgement(
            passed=not broken,
            limit=words,
            sentence=sentence or f"{shown(value, self.unit)} satisfies: {words}",
            low=self.low,
            high=self.high,
            margin=self.margin(value),
            place=place,
        )

    def margin(self, value: Any) -> float | None:
        """Distance to the nearest numeric bound, negative outside; None without one."""
        if not is_number(value):
            return None
        at = _decimal(value)
        distances = [_EXACT.subtract(at, _decimal(self.low))] if is_number(self.low) else []
        distances += [_EXACT.subtract(_decimal(self.high), at)] if is_number(self.high) else []
        if not distances:
            return None
        nearest = min(distances)
        whole = nearest == nearest.to_integral_value() and abs(nearest) < 1 << 53
        return int(nearest) if whole else float(nearest)


# More digits than any two numbers of a format need for their exact difference; faster than fractions.
_EXACT = Context(prec=400)


def _decimal(number: float | Decimal | Fraction) -> Decimal:
    """The number as people wrote it; see `exact`."""
    if isinstance(number, Fraction):
        return _EXACT.divide(Decimal(number.numerator), Decimal(number.denominator))
    return Decimal(repr(number)) if isinstance(number, float) else Decimal(number)


def shown(value: Any, unit: str = "") -> str:
    """A value for a sentence, bounded in length. Text is quoted and escaped; a number carries its unit."""
    if isinstance(value, bool) or value is None:
        return str(value).lower()
    if isinstance(value, (bytes, bytearray)):
        text = value.hex(" ").upper() or "(no bytes)"
    elif is_number(value):
        text = number_text(value) + (f" {unit}" if unit else "")
    elif isinstance(value, (list, tuple)):
        text = "[" + ", ".join(shown(item, unit) for item in value[:20]) + (", …]" if len(value) > 20 else "]")
    else:
        text = f"'{printable(str(value))}'"
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


def _is_text(value: Any) -> bool:
    """Text that is no word: '????-12-25' stands for a date that is not known and comes before or after nothing."""
    return isinstance(value, str) and not isinstance(value, Word)


class _Binder:
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
        self.checks: list[_Check] = []

    def bind(self) -> BoundLimit:
        keys = self.limit.keys()
        for key in keys:
            if key not in self.ALLOWED[self.kind]:
                allowed = ", ".join(self.ALLOWED[self.kind])
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
        if isinstance(value, str):
            try:
                return bytes.fromhex(value)
            except ValueError:
                pass
        raise Misfit(f"expected bytes as hex text, found {describe_value(value)}", "for example: 'DE AD 01'", (path,))

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
            text += f" (off by {self._text(as_number(abs(exact(got) - exact(wanted))))})"
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
        words = f"{self._text(as_number(nominal))} ± {self._text(as_number(tolerance))}"
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
        if not is_number(worst) or not is_number(edge):
            if self.kind == "time" and isinstance(worst, str):
                return f"{self._text(worst)} is {relation} {self._text(edge)}"
            return f"{self._text(worst)} is no number to compare with {self._text(edge)}"
        by = as_number(abs(exact(worst) - exact(edge)))
        return f"{self._text(worst)} is {relation} {self._text(edge)} by {self._text(by)}"

    def _matches(self, wanted: Regex) -> None:
        pattern = re.compile(wanted)
        self._add(
            f"matches '{wanted}'",
            lambda got: isinstance(got, str) and bool(pattern.fullmatch(got)),
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
        self.checks.append(_Check(words, passes, explain))

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
