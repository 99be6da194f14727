"""What a plan says to write -> bytes."""

from __future__ import annotations

from typing import Any

from benchrig.errors import MalformedValue, UnfitValue
from benchrig.source.shape import LooseText, Misfit, octets
from benchrig.steps.base import Step
from benchrig.values.format import Format, Kind
from benchrig.values.judging import shown, typed
from benchrig.values.quantity import Quantity, as_number, exact, is_number
from benchrig.values.ranges import without_range
from benchrig.values.times import CLOCK_FIELDS, clock_fields


def encode(form: Format | None, value: Any, raw: str | None) -> bytes:
    """The bytes of `raw` (hex text), or of `value` in the format. Raises UnfitValue: what a plan brings is not the unit's."""
    if raw is not None:
        return hex_bytes(raw)
    if form is None:
        if isinstance(value, (bytes, bytearray)):
            return bytes(value)
        return hex_bytes(value)
    try:
        return form.encode(plain_value(form, value))
    except MalformedValue as error:
        raise UnfitValue(error.message, advice=error.advice) from error


def hex_bytes(text: Any) -> bytes:
    """Raises UnfitValue."""
    try:
        return octets(text)
    except Misfit as misfit:
        raise UnfitValue(misfit.message, advice=misfit.advice) from None


# Digits from outside that are text here: a PIN, a serial number.
_TEXTS = ("text", "bytes", "time")


def plain_value(form: Format, value: Any) -> Any:
    """The value without its unit, in the unit of the format; fields one by one."""
    if isinstance(value, str) and form.leaves().keys() >= CLOCK_FIELDS:
        value = clock_fields(str(value))
    if not isinstance(value, dict):
        return _without_unit(value, form.unit, form.kind)
    return _fields(value, form.fields(), {name: leaf.kind for name, leaf in form.leaves().items()}, "")


def _fields(value: dict[str, Any], units: dict[str, str], kinds: dict[str, Kind], prefix: str) -> dict[str, Any]:
    """The fields of a structure, and of structures in it, by their dotted names."""
    return {name: _field(item, units, kinds, f"{prefix}{name}") for name, item in value.items()}


def _field(item: Any, units: dict[str, str], kinds: dict[str, Kind], path: str) -> Any:
    if isinstance(item, dict):
        return _fields(item, units, kinds, f"{path}.")
    if isinstance(item, list) and any(isinstance(each, dict) for each in item):
        return [_field(each, units, kinds, path) for each in item]
    return _without_unit(item, units.get(path, ""), kinds.get(path, "list"))


def _without_unit(value: Any, unit: str, kind: Kind) -> Any:
    if isinstance(value, list):
        return [_without_unit(item, unit, kind) for item in value]
    value = str(value) if isinstance(value, LooseText) and kind in _TEXTS else typed(value)
    if isinstance(value, str) and unit and value[:1] in "+-0123456789":
        value = _quantity(value)
    if isinstance(value, Quantity):
        if not unit:
            raise UnfitValue(f"{value} has a unit, the attribute has none")
        try:
            return as_number(value.to(unit))
        except Misfit as misfit:
            raise UnfitValue(misfit.message, advice=misfit.advice) from misfit
    if unit and is_number(value):
        raise UnfitValue(f"{value} has no unit", advice=f"write {value} {unit}")
    return as_number(exact(value)) if is_number(value) else value


def _quantity(text: str) -> Quantity:
    try:
        return Quantity.from_source(text)
    except Misfit as misfit:
        raise UnfitValue(misfit.message, advice=misfit.advice) from misfit


# Core Vol 3 Part F 3.2.9: no attribute value is longer.
LONGEST = 512


def sent_by(step: Step, form: Format | None, value: Any, raw: str | None) -> bytes:
    """The bytes that a step sends. UnfitValue for more than a value holds, but where the step judges the refusal."""
    try:
        data = encode(form, value, raw)
    except UnfitValue as error:
        if "att_error" in step.limits:
            error.advice = error.advice or _advice_to_refuse(form, value)
        raise
    if len(data) > LONGEST and "att_error" not in step.limits:
        message = f"{len(data)} bytes; an attribute value has at most {LONGEST}"
        raise UnfitValue(message, advice="shorten it, or give att_error a limit when a refusal is what you want to see")
    return data


def _advice_to_refuse(form: Format | None, value: Any) -> str:
    """For a value that only the valid range of its format forbids; '' for any other."""
    try:
        data = encode(form and without_range(form), value, None)
    except UnfitValue:
        return ""
    return f"to see it refused, write raw: '{data.hex(' ').upper()}'"


def misfit_of(step: Step, form: Format | None, value: Any, raw: str | None) -> Misfit | None:
    """What is wrong with the value of a plan, before the run; None when it can be written."""
    try:
        sent_by(step, form, value, raw)
    except UnfitValue as error:
        return Misfit(error.message, error.advice, ("raw" if raw is not None else "value",))
    return None


def why_not_kept(form: Format | None, sent: bytes, got: bytes) -> str:
    """What to say of a device that gives back another value than was written; '' when it kept it."""
    return "" if same_value(form, sent, got) else f"read back {shown(got)} after writing {shown(sent)}"


def same_value(form: Format | None, sent: bytes, got: bytes) -> bool:
    """Whether the device kept what was written: the same bytes, or bytes of the same value."""
    if sent == got or form is None:
        return sent == got
    try:
        return bool(form.decode(sent) == form.decode(got))
    except MalformedValue:
        return False
