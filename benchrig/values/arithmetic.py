"""The arithmetic of references worked out: exact numbers and quantities, parts of texts, bytes and lists."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeAlias

from benchrig.source.expression import (
    Function,
    Literal,
    Name,
    Negative,
    Operation,
    Part,
    Tree,
    Unreadable,
    names_of,
    parsed,
)  # fmt: skip
from benchrig.source.shape import LooseText, Misfit
from benchrig.source.writing import decimal_text
from benchrig.values.judging import Kind, shown, typed
from benchrig.values.quantity import Quantity, exact, is_number, rounded
from benchrig.values.units import Unit, unit_named
from benchrig.values.value import Word

# Results beyond this many binary digits are no measurements.
_MOST_BITS = 4000

Operand: TypeAlias = "Fraction | Quantity"


@dataclass(frozen=True)
class Sample:
    """Stands for a value of which the kind alone is known."""

    kind: Kind


class Likely(Quantity):
    """Stands for a quantity whose unit alone is known: nobody is told the number."""

    __slots__ = ("name",)

    def __init__(self, number: Fraction, unit: Unit | str, name: str) -> None:
        super().__init__(number, unit)
        self.name = name

    def __str__(self) -> str:
        return self.name


class Unknown(Exception):
    """A value of which nothing is known yet."""


def worked_out(text: str, defined: AbstractSet[str], values: Mapping[str, Any]) -> Any:
    """What becomes of `${text}`. KeyError with the name of a value that is not there; Misfit with the values that took
    part where there is no result."""
    if text in values:
        return values[text]
    try:
        tree = parsed(text, defined)
    except Unreadable as error:
        raise Misfit(error.message, error.advice) from None
    if isinstance(tree, Name):
        return values[tree.name]
    used = {name: values[name] for name in names_of(text, defined)}
    try:
        return _plain(_value(tree, used))
    except Misfit as misfit:
        parts = ", ".join(f"{name} is {_shown(value)}" for name, value in used.items())
        raise Misfit(f"{text}: {misfit.message}; {parts}", misfit.advice) from misfit


def likely(text: str, defined: AbstractSet[str], samples: Mapping[str, Any]) -> Any:
    """The same with samples, before the run. Unknown when too little is known; Misfit for what can never be right."""
    try:
        return _value(parsed(text, defined), samples)
    except (KeyError, Unreadable):  # what cannot be read is told where names are looked up
        raise Unknown from None


def _plain(value: Any) -> Any:
    """A number as a value of a plan: a whole one, else a decimal where one is the same."""
    if isinstance(value, Quantity):
        _check_size(value.number)
    if not isinstance(value, Fraction):
        return value
    _check_size(value)
    if value.denominator == 1:
        return value.numerator
    text = decimal_text(value)
    return value if text is None else Decimal(text)


def _check_size(number: Fraction) -> None:
    if max(number.numerator.bit_length(), number.denominator.bit_length()) > _MOST_BITS:
        raise Misfit("the result has more than 1000 digits", "work with smaller numbers")


def _value(tree: Tree, values: Mapping[str, Any]) -> Any:
    """A word of the unit in place of a number ('not known') is the result of all that it takes part in."""
    if isinstance(tree, Name):
        return values[tree.name]
    if isinstance(tree, Literal):
        return Quantity(tree.number, unit_named(tree.unit)) if tree.unit else tree.number
    if isinstance(tree, Part):
        return _part(_value(tree.of, values), tree)
    operands = [_operand(_value(one, values)) for one in _operands(tree)]
    word = next((one for one in operands if isinstance(one, Word)), None)
    if word is not None:
        return word
    if isinstance(tree, Negative):
        return -operands[0]
    result = _FUNCTIONS[tree.name](*operands) if isinstance(tree, Function) else _SIGNS[tree.sign](*operands)
    guessed = isinstance(result, Quantity) and any(isinstance(one, Likely) for one in operands)
    return Likely(result.number, result.unit, "the result") if guessed else result


def _operands(tree: Negative | Operation | Function) -> tuple[Tree, ...]:
    if isinstance(tree, Negative):
        return (tree.of,)
    return tree.arguments if isinstance(tree, Function) else (tree.one, tree.other)


def _operand(value: Any) -> Any:
    """A value as a number or quantity. Misfit for what is none."""
    value = typed(value)
    if isinstance(value, (Fraction, Quantity, Word)):
        return value
    if is_number(value):
        return exact(value)
    if isinstance(value, Sample):
        raise Misfit(f"{_KINDS[value.kind]} has no arithmetic", _NUMBERS)
    if isinstance(value, str):
        return _quantity(value)
    raise Misfit(f"{shown(value)} is not a number, and has no arithmetic", _NUMBERS)


def _quantity(text: str) -> Quantity:
    """What a plan writes as text, '30 °C', is a quantity."""
    try:
        return Quantity.from_source(text)
    except Misfit:
        raise Misfit(f"{shown(text)} is text, and has no arithmetic", _NUMBERS) from None


_NUMBERS = "use numbers, quantities, or parts such as ${trip[0:4]}"
_KINDS = {"text": "text", "bytes": "a value of bytes", "boolean": "true or false", "time": "a date and time",
          "list": "a list", "number": "a number", "any": "it"}  # fmt: skip


# --- the operations


def _alike(one: Operand, other: Operand) -> None:
    """See that both have a unit, or none."""
    for bare, measured in ((one, other), (other, one)):
        if isinstance(measured, Quantity) and not isinstance(bare, Quantity):
            kind = f" (a {measured.unit.dimension} in {measured.unit})" if isinstance(measured, Likely) else ""
            what = f"a number without a unit and {measured}{kind} are added or compared"
            raise Misfit(what, "write the unit of the number")


def _plus(one: Any, other: Any) -> Any:
    _alike(one, other)
    return one + other


def _minus(one: Any, other: Any) -> Any:
    _alike(one, other)
    return one - other


def _divided(one: Any, other: Any) -> Any:
    if is_number(other) and other == 0:
        raise Misfit("a division by 0", "see that the divisor cannot be 0")
    return one / other


def _least(*operands: Any) -> Any:
    for other in operands[1:]:
        _alike(operands[0], other)
    return min(operands)


def _most(*operands: Any) -> Any:
    for other in operands[1:]:
        _alike(operands[0], other)
    return max(operands)


def _rounded(value: Any, digits: Fraction = Fraction(0)) -> Any:
    return round(value, int(digits)) if isinstance(value, Quantity) else rounded(value, int(digits))


_SIGNS: dict[str, Callable[[Any, Any], Any]] = {
    "+": _plus, "-": _minus, "*": lambda one, other: one * other, "/": _divided,
}  # fmt: skip
_FUNCTIONS: dict[str, Callable[..., Any]] = {"min": _least, "max": _most, "abs": abs, "round": _rounded}


# --- parts


def _part(value: Any, part: Part) -> Any:
    """`value[first:last]`: of bytes, text or a list; a single byte is a number."""
    if isinstance(value, Sample):
        return _likely_part(value, part)
    if isinstance(value, Word):
        return value
    if not isinstance(value, (bytes, bytearray, str, list, tuple)):
        raise Misfit(f"{_shown(value)} has no parts", "take parts of bytes, text or lists")
    size = len(value)
    first, last = (0 if part.first is None else part.first), (size if part.last is None else part.last)
    ends = [end + size if end < 0 else end for end in (first, last)]
    if part.single and not 0 <= ends[0] < size:
        raise Misfit(f"there is no part {part} of {size}", "count from 0; put a limit on the length")
    if not part.single and not 0 <= ends[0] <= ends[1] <= size:
        raise Misfit(f"there is no part {part} of {size}", "count from 0; put a limit on the length")
    return _whole_kind(value, value[ends[0]] if part.single else value[ends[0] : ends[1]])


def _whole_kind(value: Any, part: Any) -> Any:
    """Text from outside stays such: what it is, the place says where it is used."""
    return LooseText(part) if isinstance(value, LooseText) else bytes(part) if isinstance(part, bytearray) else part


def _likely_part(value: Sample, part: Part) -> Any:
    if value.kind not in ("bytes", "text", "list", "time"):
        raise Misfit(f"{_KINDS[value.kind]} has no parts", "take parts of bytes, text or lists")
    if not part.single or value.kind in ("text", "time"):
        return Sample("text" if value.kind == "time" else value.kind)
    if value.kind == "list":
        raise Unknown
    return Fraction(12)


def _shown(value: Any) -> str:
    return str(value) if isinstance(value, Quantity) else shown(value)
