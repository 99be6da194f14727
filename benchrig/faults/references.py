"""The reactions of a device by what they name: which values they change, and the device without one of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import msgspec

from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.reaction_spec import DoingSpec, MatchSpec


def changed_values(device: DeviceSpec) -> set[str]:
    """The characteristics, and fields of them, that some reaction sets or sends."""
    return {name for doing in _doings(device) for name in (*doing.set, *doing.notify)}


def without(called: str, *, only_sending: bool = False) -> Callable[[Any], Any]:
    """The change of a device that takes a characteristic out of its reactions, or the sending of it."""
    return lambda device: _mapped(device, lambda doing: _forgotten(doing, called, only_sending=only_sending))


def _forgotten(doing: DoingSpec, called: str, *, only_sending: bool) -> DoingSpec:
    fields: dict[str, Any] = {"notify": _others(doing.notify, called)}
    if not only_sending:
        fields |= {"set": _others(doing.set, called), "print": _emptied(doing.print, called)}
        fields = {key: _emptied(value, called) for key, value in fields.items()}
        if isinstance(doing, MatchSpec):
            fields["only_if"] = _others(doing.only_if, called)
    return msgspec.structs.replace(doing, **fields)


def _others(values: Mapping[str, Any], called: str) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name != called and not name.startswith(f"{called}.")}


def _emptied(value: Any, called: str) -> Any:
    """Texts without the places in which the value would be filled in."""
    if isinstance(value, str):
        return re.sub(rf"\{{{re.escape(called)}(\.[^{{}}]*)?\}}", "", value)
    if isinstance(value, dict):
        return {key: _emptied(one, called) for key, one in value.items()}
    return [_emptied(one, called) for one in value] if isinstance(value, list) else value


def _doings(value: Any) -> Iterator[DoingSpec]:
    if isinstance(value, DoingSpec):
        yield value
    if isinstance(value, msgspec.Struct):
        value = [getattr(value, name) for name in value.__struct_fields__]
    for one in value if isinstance(value, (list, tuple)) else ():
        yield from _doings(one)


def _mapped(value: Any, change: Callable[[DoingSpec], DoingSpec]) -> Any:
    """The same with each reaction changed; what has none in it is left as it is."""
    if isinstance(value, (list, tuple)):
        made = [_mapped(one, change) for one in value]
        return value if all(one is other for one, other in zip(made, value, strict=True)) else type(value)(made)
    if not isinstance(value, msgspec.Struct):
        return value
    fields = {name: getattr(value, name) for name in value.__struct_fields__}
    inner = {name: made for name, one in fields.items() if (made := _mapped(one, change)) is not one}
    value = msgspec.structs.replace(value, **inner) if inner else value
    return change(value) if isinstance(value, DoingSpec) else value
