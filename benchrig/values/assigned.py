"""The data file of assigned numbers, read when it is first needed."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

import msgspec

_WITH_VALUES = ("characteristic", "descriptor")


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


def definition_of(uuid: int) -> Any:
    """The definition of an assigned characteristic or descriptor, plain data; None without one."""
    raw = assigned().definitions.get(f"{uuid:04X}")
    return None if raw is None else msgspec.json.decode(raw)


def numbers_named(name: str) -> list[int]:
    """The characteristic and the descriptor with this name, in any case and spacing."""
    wanted = " ".join(name.lower().split())
    return [uuids(kind)[wanted] for kind in _WITH_VALUES if wanted in uuids(kind)]


def defined_names() -> list[str]:
    """The names of those that have a definition."""
    definitions = assigned().definitions
    return [name for kind in _WITH_VALUES for name, uuid in uuids(kind).items() if f"{uuid:04X}" in definitions]
