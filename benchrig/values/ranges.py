"""A format without its valid range: what a plan may write to see it refused."""

from __future__ import annotations

from dataclasses import replace

from benchrig.values.base import ANY
from benchrig.values.decimal_text import DecimalFormat
from benchrig.values.format import Format
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.structs import ListFormat, StructFormat


def without_range(form: Format) -> Format:
    """Carries what the bytes can carry, in structures and lists too."""
    if isinstance(form, StructFormat):
        return StructFormat([replace(item, format=without_range(item.format)) for item in form.items])
    if isinstance(form, ListFormat):
        return ListFormat(without_range(form.item), form.count, form.least)
    if isinstance(form, (IntegerFormat, FloatFormat, MedFloatFormat, DecimalFormat)):
        return replace(form, valid=ANY)
    return form
