"""Judging: the sentence that says whether a value satisfies a limit, and by how much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Context, Decimal
from fractions import Fraction
from typing import Any, Literal, TypeAlias

import msgspec

from benchrig.source.problem import printable
from benchrig.source.shape import LooseText
from benchrig.source.yaml import Refused, plain_scalar
from benchrig.values.quantity import as_float, as_number, exact, is_number, number_text
from benchrig.values.units import dimension_of

Kind: TypeAlias = Literal["number", "text", "bytes", "boolean", "time", "list", "any"]

SHOWN = 120


class Judgement(msgspec.Struct, omit_defaults=True, frozen=True, gc=False):
    """A limit applied to a reading. `low` and `high` are the bounds in the reading's unit where the limit has any;
    `limit` is the whole limit in words; `sentence` says what was found, against what, and by how much; `margin` is
    the distance to the nearest bound in the reading's unit, negative outside. `place` is 'file:line' of the limit. Where
    rounds were judged, `confidence` in % is how often such a verdict is right, `at_least` and `at_most` what they show.
    Under a `guard` band (its rule and uncertainty, in words) `low` and `high` are the acceptance limits, `stated_low` and
    `stated_high` those of the plan."""

    passed: bool
    limit: str
    sentence: str
    low: Any = None
    high: Any = None
    margin: float | None = None
    place: str = ""
    confidence: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    stated_low: Any = None
    stated_high: Any = None
    guard: str = ""

    @property
    def stated(self) -> tuple[float | None, float | None]:
        """The bounds that the plan states, as numbers: a guard band draws in what is accepted, and not these."""
        low, high = (self.stated_low, self.stated_high) if self.guard else (self.low, self.high)
        return as_float(low), as_float(high)


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
    if unit or isinstance(value, (int, float, Decimal, Fraction)):
        return "number"
    if isinstance(value, (bytes, bytearray)):
        return "bytes"
    return "text" if isinstance(value, str) else "any"


# The words of the check that holds a sample against the one before.
RISING = "rising"


@dataclass(frozen=True)
class Check:
    """One condition: its words, the test, and what to say of a value that passes or breaks it."""

    words: str
    passes: Callable[[Any], bool]
    explain: Callable[[Any], str]


@dataclass(frozen=True)
class BoundLimit:
    """A limit ready to judge values of one kind and unit. `low` and `high` are in that unit. `absent` says that there is
    no value to judge."""

    checks: tuple[Check, ...]
    unit: str
    low: Any = None
    high: Any = None
    absent: str = "there is no value"
    # whether the bound itself is outside
    low_open: bool = False
    high_open: bool = False
    # whether it is about samples one after the other: see rising.py
    needs_samples: bool = False
    # under a guard band: the limits of the plan, and the rule that drew them in
    stated_low: Any = None
    stated_high: Any = None
    guard: str = ""

    words: str = field(init=False)
    # the bounds as exact numbers, where they are numbers
    _edges: tuple[Decimal | None, Decimal | None] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        edges = [_decimal(bound) if is_number(bound) else None for bound in (self.low, self.high)]
        object.__setattr__(self, "words", " and ".join([check.words for check in self.checks]))
        object.__setattr__(self, "_edges", tuple(edges))

    def passes(self, value: Any) -> bool:
        if type(value) not in _READ:
            value = _as_read(value)
        for check in self.checks:  # noqa: SIM110 - of every sample of a stream; all() takes twice as long
            if not check.passes(value):
                return False
        return True

    def judge(self, value: Any, place: str = "") -> Judgement:
        """The verdict on one value, with its sentence; `place` is that of the limit, 'file:line'."""
        value = _as_read(value)
        broken = [check for check in self.checks if not check.passes(value)]
        sentence = "; ".join([check.explain(value) for check in broken])
        satisfies = sentence or f"{shown(value, self.unit)} satisfies: {self.words}"
        return self.judgement(satisfies, place, passed=not broken, margin=self.margin(value))

    def judgement(self, sentence: str, place: str, *, passed: bool, margin: float | None = None) -> Judgement:
        """A verdict by this limit."""
        return Judgement(
            passed=passed,
            limit=self.words,
            sentence=sentence,
            low=self.low,
            high=self.high,
            margin=margin,
            place=place,
            stated_low=self.stated_low,
            stated_high=self.stated_high,
            guard=self.guard,
        )

    def margin(self, value: Any) -> float | None:
        """Distance to the nearest numeric bound, negative outside; None without one."""
        low, high = self._edges
        if (low is None and high is None) or not is_number(value):
            return None
        at = _decimal(value)
        distances = [] if low is None else [_EXACT.subtract(at, low)]
        distances += [] if high is None else [_EXACT.subtract(high, at)]
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


_READ = frozenset({int, float, str, bytes})


def _as_read(value: Any) -> Any:
    """A number of another kind (a function returns what it likes) as the int or float that bounds are."""
    if type(value) in _READ:
        return value
    if isinstance(value, (Decimal, Fraction)) and is_number(value):
        return as_number(exact(value))
    return [_as_read(item) for item in value] if isinstance(value, (list, tuple)) else value


def apart(one: Any, other: Any, unit: str) -> tuple[str, str]:
    """Two different values for a sentence, with as many digits as it takes to see that they differ."""
    texts = shown(one, unit), shown(other, unit)
    if texts[0] != texts[1] or not (is_number(one) and is_number(other)):
        return texts
    whole = (str(_decimal(one)), str(_decimal(other)))
    return (f"{whole[0]} {unit}".rstrip(), f"{whole[1]} {unit}".rstrip())


def difference_unit(unit: str) -> str:
    """The unit of a difference between two values in `unit`: levels differ by dB."""
    return "dB" if dimension_of(unit) in ("level", "sound pressure level") else unit


def in_brackets(data: bytes | bytearray) -> str:
    """The bytes that a sentence is about, to stand behind it; '' where there are none."""
    return f" (bytes {shown(data)})" if data else ""


def accepted(data: bytes) -> str:
    """Of a write that a plan expects to be refused."""
    return f"the device accepted {shown(data)}"


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
