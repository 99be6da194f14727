"""A simulated device -> the text of a device file that is read as just this device.

What its keys say by default is left out. A comment may stand at any part, by the path to it: ("services", 0,
"characteristics", 2, "value").
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import asdict
from fractions import Fraction
from functools import cache
from types import MappingProxyType
from typing import Any, get_args, get_type_hints

import msgspec

from benchrig.radio.security import REASONS
from benchrig.radio.virtual.air_spec import AirChoice, ConditionsSpec
from benchrig.radio.virtual.behaviour import Behaviour, When, key_of
from benchrig.radio.virtual.block import SOMETIMES
from benchrig.radio.virtual.conditions import CHANGED, KIND, PROFILES, Conditions
from benchrig.radio.virtual.device_spec import LONGEST_NAME, DeviceSpec, Simulated
from benchrig.radio.virtual.security_spec import PasskeyText, Reason
from benchrig.radio.virtual.spread_spec import Targets
from benchrig.radio.virtual.value_reading import at
from benchrig.radio.virtual.words import (
    AddressText,
    AttErrorCode,
    CharacteristicUuid,
    DescriptorUuid,
    Hex,
    HowMany,
    ServiceUuid,
    SleepTime,
)
from benchrig.source.layout import Layout, Path
from benchrig.source.references import REFERENCE
from benchrig.source.shape import Misfit
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.text.escape import plain
from benchrig.values.catalogue import att_error_name
from benchrig.values.quantity import Duration, Quantity, exact
from benchrig.values.share import Share
from benchrig.values.spec import BitParts, Words
from benchrig.values.units import BASE

_LONGEST_COMMENT = 1000
NOTHING: Mapping[Path, str] = MappingProxyType({})
# Lists that have a line or more for each item.
_LISTED = frozenset(
    {"services", "services_after_reboot", "characteristics", "descriptors", "console", "weaknesses", "others", "cases",
     "on_start", "on_connect", "on_disconnect", "on_display", "unasked"}
)  # fmt: skip
# Whole numbers that are sets of bits, or have no size.
_IN_HEX = frozenset({"flags", "company", "appearance", "rfu", "when", "unless"})
# What something is, and when it happens, comes before the rest; whatever else is in the order of its fields.
_HEX = re.compile("[0-9A-Fa-f]{2}( [0-9A-Fa-f]{2})*")
_FIRST = ("descriptor", "characteristic", "name", "starts_with", "matches", "only_if", "every", "store", "check")


def device_text(device: DeviceSpec, comments: Mapping[Path, str] = NOTHING, head: Iterable[str] = ()) -> str:
    """The file, with the key at each comment, whatever it says. Misfit, with its path, for what no device file can say.
    The devices around it are its `others`."""
    said = {path: plain(text, _LONGEST_COMMENT) for path, text in comments.items()}
    return Layout(said, _LISTED).text(device_data(device, said), [plain(line, _LONGEST_COMMENT) for line in head])


def devices_text(devices: Iterable[Simulated], head: Iterable[str] = ()) -> str:
    """The file of all of these that can be connected to. Those that only advertise are told with the device that they are
    around, in a file of several not at all. Misfit."""
    units = [each for each in devices if isinstance(each, DeviceSpec)]
    if len(units) == 1:
        return device_text(units[0], head=head)
    data: dict[str, Any] = {"devices": [device_data(msgspec.structs.replace(each, air=None)) for each in units]}
    air = next((each.air for each in units if each.air is not None), None)
    data |= {} if air is None else {"air": _written(air)}
    return Layout({}, _LISTED | {"devices"}).text(data, [plain(line, _LONGEST_COMMENT) for line in head])


def fit_name(name: str) -> str:
    """The name of a device, as far as a file may have it."""
    return name.replace("${", "$ {").encode("utf-8", "replace")[:LONGEST_NAME].decode(errors="ignore").strip()


def device_data(device: DeviceSpec, kept: Collection[Path] = ()) -> dict[str, Any]:
    """What the keys of the file say; those that are `kept` say their defaults too. Misfit for what they cannot."""
    return _struct(device, kept)


def _struct(spec: msgspec.Struct, kept: Collection[Path]) -> dict[str, Any]:
    told = sorted(_told(spec, {path[0] for path in kept}), key=_place)
    return {key: at(key, _written, value, key, _below(kept, key)) for key, value in told}


def _told(spec: msgspec.Struct, kept: Collection[str | int]) -> Iterator[tuple[str, Any]]:
    for field in msgspec.structs.fields(spec):
        value = getattr(spec, field.name)
        if field.name == "behaviours":
            yield from _behaviours(value)
        elif field.name == "use" or value is None:
            continue
        elif field.required or field.encode_name in kept or value != _default(field):
            yield field.encode_name, value


def _below(kept: Collection[Path], key: str | int) -> Collection[Path]:
    return [path[1:] for path in kept if len(path) > 1 and path[0] == key]


def _place(told: tuple[str, Any]) -> int:
    return _FIRST.index(told[0]) if told[0] in _FIRST else len(_FIRST)


def _default(field: msgspec.structs.FieldInfo) -> Any:
    return field.default_factory() if callable(field.default_factory) else field.default


def _behaviours(behaviours: Iterable[Behaviour]) -> Iterator[tuple[str, Any]]:
    """Each by its key; those of some times in entries of their own."""
    seen: set[str] = set()
    some = list[dict[str, Any]]()
    for one in behaviours:
        key, _ = key_of(type(one))
        if one.when != When():
            some.append({**dict(_told(one.when, ())), key: getattr(one, key)})
            continue
        if key in seen:
            raise Misfit(f"a device file says '{key}' once, for each occasion", path=(key,))
        seen.add(key)
        yield key, getattr(one, key)
    if some:
        yield SOMETIMES, some


def _written(value: Any, key: str = "", kept: Collection[Path] = ()) -> Any:
    if isinstance(value, msgspec.Struct):
        return _struct(value, kept)
    if isinstance(value, list):
        return [at(index, _written, item, "", _below(kept, index)) for index, item in enumerate(value)]
    for kind, write in _WRITERS.items():
        if isinstance(value, kind):
            return write(value)
    if key in _IN_HEX and isinstance(value, int) and not isinstance(value, bool):
        return Bare(f"0x{value:02X}")
    return value


def _mapping(mapping: Mapping[Any, Any]) -> dict[Any, Any]:
    return {key: at(key, _written, value) for key, value in mapping.items()}


def _text(text: str) -> str:
    if any(found[0] != "$$" for found in REFERENCE.finditer(text)):
        raise Misfit("a device file has no references", "write the bytes: raw")
    return Quoted(text) if _HEX.fullmatch(text) else text


def _number(number: Fraction) -> Bare:
    decimal = decimal_text(number)
    return Bare(decimal if decimal is not None else f"{number.numerator}/{number.denominator}")


def _quantity(quantity: Quantity) -> Bare:
    """As it was written, parts of a second in ms."""
    number, unit = quantity.number, str(quantity.unit)
    if unit == "s" and 0 < number < 1:
        number, unit = number * 1000, "ms"
    text = decimal_text(number)
    if text is None:
        raise Misfit(f"{quantity} is not exactly a decimal number", "round it")
    return Bare(f"{text} {unit}")


def _sleep(seconds: SleepTime) -> Any:
    return SleepTime.FOR_GOOD if seconds == float("inf") else _quantity(Duration.of(float(seconds)))


def _att_error(code: AttErrorCode) -> str:
    name = att_error_name(code)
    return Bare(f"0x{code:02X}") if name.endswith(f"0x{code:02x}") else name


def _words(words: Words) -> dict[Any, str]:
    return {
        raw if abs(raw) < 0x100 else Bare(f"0x{raw:X}" if raw >= 0 else str(raw)): word for raw, word in words.items()
    }


def _bits(parts: BitParts) -> dict[str, Any]:
    masks = {name: Bare(f"0x{part.mask:02X}") for name, part in parts.items()}
    return {
        name: masks[name] if part.words is None else {"mask": masks[name], "words": _words(part.words)}
        for name, part in parts.items()
    }


def _air(choice: AirChoice) -> Any:
    """The name of a profile, with what differs from it."""
    conditions = choice.conditions
    if conditions is None:
        return KIND
    like = PROFILES.get(conditions.name.removesuffix(CHANGED))
    if like is None:
        raise Misfit(f"the air '{conditions.name}' has no name in device files")
    if conditions == like:
        return like.name
    return {"like": like.name} | dict(_differences(conditions, like))


def _differences(conditions: Conditions, like: Conditions) -> Iterator[tuple[str, Any]]:
    for key, value in asdict(conditions).items():
        if key == "name" or value == getattr(like, key):
            continue
        if value is None:
            raise Misfit("an air of a device file always has one", path=(key,))
        yield key, _condition(key, value)


def _condition(key: str, value: float) -> Any:
    kind = _condition_units().get(key)
    if kind is Share:
        return _quantity(Quantity(exact(value) * 100, "%"))
    return _quantity(Quantity(value, BASE[kind.dimension])) if kind else value


@cache
def _condition_units() -> dict[str, type[Quantity]]:
    """What each key of an air takes, where that is a quantity."""
    kinds = {key: get_args(hint)[:1] for key, hint in get_type_hints(ConditionsSpec).items()}
    return {key: kind for key, (kind, *_) in kinds.items() if isinstance(kind, type) and issubclass(kind, Quantity)}


_WRITERS: dict[type[Any], Callable[[Any], Any]] = {
    Quantity: _quantity,
    Fraction: _number,
    SleepTime: _sleep,
    HowMany: lambda number: HowMany.ALL if number == float("inf") else int(number),
    Hex: lambda octets: Quoted(octets.hex(" ").upper()),
    AddressText: Quoted,
    AttErrorCode: _att_error,
    Reason: lambda code: REASONS[code],
    PasskeyText: lambda digits: str(digits) if digits == PasskeyText.RANDOM else Quoted(digits),
    ServiceUuid: lambda uuid: uuid.written,
    CharacteristicUuid: lambda uuid: uuid.written,
    DescriptorUuid: lambda uuid: uuid.written,
    Words: _words,
    BitParts: _bits,
    AirChoice: _air,
    Targets: lambda names: names[0] if len(names) == 1 else [*names],
    str: _text,
    dict: _mapping,
}
