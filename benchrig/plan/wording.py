"""Formats and own names -> how a plan writes them."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.values import catalogue
from benchrig.values.numbers import IntegerFormat
from benchrig.values.spec import Exact, FormatSpec

if TYPE_CHECKING:
    from benchrig.values.format import Format

# Formats that a presentation format descriptor can mean, beside integers, as they describe themselves.
_NAMED = re.compile(r"(boolean|float32|float64|medfloat16|medfloat32|utf8|utf16|hex)( .*)?")


def spec_of(form: Format) -> FormatSpec | None:
    """How a plan writes the format of a presentation format descriptor; None for one that it cannot."""
    if isinstance(form, IntegerFormat):
        return FormatSpec(as_=form.name, scale=None if form.scale == 1 else Exact(form.scale), unit=form.unit or None)
    match = _NAMED.fullmatch(form.describe())
    return FormatSpec(as_=match[1], unit=form.unit or None) if match else None


def spec_data(spec: FormatSpec) -> dict[str, Any]:
    """The keys of a format, or of an own name, as they are written."""
    data: dict[str, Any] = _without_nothing(msgspec.to_builtins(spec, enc_hook=_builtin))
    if "uuid" in data:
        data["uuid"] = catalogue.short_uuid(data["uuid"])
    order = ["uuid", "handle", "service", "index", "name"]  # where it is before how it reads
    return {key: data[key] for key in sorted(data, key=lambda key: order.index(key) if key in order else len(order))}


def _without_nothing(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _without_nothing(item) for key, item in data.items() if item is not None}
    return [_without_nothing(item) for item in data] if isinstance(data, list) else data


def _builtin(value: Any) -> Any:
    if isinstance(value, Fraction):
        decimal = value.numerator / value.denominator
        # 0.01 rather than 1/100, where it is the same number
        return decimal if Fraction(repr(decimal)) == value else f"{value.numerator}/{value.denominator}"
    return str(value) if isinstance(value, str) else dict(value)
