"""Formats, own names and selections -> how a plan writes them."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.source.writing import Bare
from benchrig.values import catalogue
from benchrig.values.format import FormatSpec
from benchrig.values.numbers import IntegerFormat
from benchrig.values.spec import Exact

if TYPE_CHECKING:
    from benchrig.radio.scan import Selection
    from benchrig.values.format import Format


def spec_of(form: Format) -> FormatSpec | None:
    """How a plan writes the format of a presentation format descriptor; None for one that it cannot."""
    scale = Exact(form.scale) if isinstance(form, IntegerFormat) and form.scale != 1 else None
    return FormatSpec(as_=form.name, scale=scale, unit=form.unit or None) if form.name else None


def service_name(uuid: str) -> str:
    """What selections, tables and steps call a service."""
    return catalogue.name_of(uuid, "service") or catalogue.short_uuid(uuid)


def selection_data(selection: Selection) -> dict[str, Any]:
    """The keys of a selection, all of them."""
    select: dict[str, Any] = {
        "name": selection.name,
        "services": [service_name(uuid) for uuid in selection.services],
        "manufacturer": _company(selection),
        "address": selection.address,
        "rssi_min": None if selection.rssi_min is None else Bare(f"{selection.rssi_min:g} dBm"),
        "nearest": None if selection.nearest is None else Bare(f"{selection.nearest:g} dB"),
        "identity_key": None if selection.key is None else selection.key.hex().upper(),
    }
    return {key: item for key, item in select.items() if item}


def _company(selection: Selection) -> dict[str, Any] | None:
    if selection.manufacturer is None:
        return None
    data = selection.manufacturer_data.hex(" ").upper()
    return {"company": Bare(f"0x{selection.manufacturer:04X}")} | ({"data": data} if data else {})


def name_pattern(name: str) -> str:
    """The name in a pattern for names that matches nothing else: * and ? and [ mean themselves."""
    return "".join(f"[{character}]" if character in "*?[" else character for character in name)


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
