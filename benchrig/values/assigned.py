"""The data file of assigned numbers, read when it is first needed."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

import msgspec

from benchrig.values.spec import FormatSpec, spec_from


class Assigned(msgspec.Struct, frozen=True):
    """The file as it is. UUIDs are four upper-case hex digits, codes two; names are in lower case. `aliases` maps
    the kind of an attribute to further names and their UUIDs; `definitions` maps a UUID to a format."""

    sources: list[str]
    services: dict[str, str]
    characteristics: dict[str, str]
    descriptors: dict[str, str]
    aliases: dict[str, dict[str, str]]
    units: dict[str, str]
    att_errors: dict[str, str]
    presentation_formats: dict[str, str]
    definitions: dict[str, msgspec.Raw]


@cache
def assigned() -> Assigned:
    data = resources.files("benchrig.values").joinpath("assigned_numbers.json").read_bytes()
    return msgspec.json.decode(data, type=Assigned)


@cache
def uuids(kind: str) -> dict[str, int]:
    """Name to 16-bit UUID for 'service', 'characteristic' or 'descriptor', further names last."""
    numbers = assigned()
    tables = {
        "service": numbers.services,
        "characteristic": numbers.characteristics,
        "descriptor": numbers.descriptors,
    }
    names = {name: int(uuid, 16) for uuid, name in tables[kind].items()}
    return {**{name: int(uuid, 16) for name, uuid in numbers.aliases[kind].items()}, **names} | names


@cache
def spec_of(uuid: int) -> FormatSpec | None:
    """The definition of an assigned characteristic or descriptor."""
    raw = assigned().definitions.get(f"{uuid:04X}")
    if raw is None:
        return None
    data: Any = msgspec.json.decode(raw)
    return spec_from(data)


def spec_named(name: str) -> FormatSpec | None:
    """The definition of the characteristic with this name."""
    uuid = uuids("characteristic").get(name.lower())
    return None if uuid is None else spec_of(uuid)
