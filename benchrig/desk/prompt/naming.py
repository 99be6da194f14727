"""What the attributes of a connected device are called: the shortest name that means one of them and no other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from benchrig.errors import DeviceError
from benchrig.source.shape import Misfit
from benchrig.steps.lookup import look_up, path_of

if TYPE_CHECKING:
    from benchrig.radio.table import Found, Table
    from benchrig.steps.attribute import Names


def names_in(table: Table, names: Names) -> Mapping[str, Found]:
    """Names and attributes, in the order of the table."""
    return {_name(found, table, names): found for found in table.attributes()}


def _name(found: Found, table: Table, names: Names) -> str:
    for candidate in _candidates(found, table, names):
        try:
            target = look_up(table, names, candidate)
        except (DeviceError, Misfit):
            continue
        if target.found.attribute.handle == found.attribute.handle:
            return candidate
    return f"handle 0x{found.attribute.handle:04X}"


def _candidates(found: Found, table: Table, names: Names) -> Iterator[str]:
    path = path_of(found, names).split("/")
    label = path[-1]
    if len(path) == 3:  # a descriptor is mostly one of many of its kind
        yield f"{path[1]}/{label}"
    else:
        # an own name may stand for one of several, and is then no label of them all
        yield from (alias for alias, spec in names.aliases.items() if spec.uuid == found.attribute.uuid)
        yield label
    yield "/".join(path)
    alike = [each for each in table.attributes() if each.attribute.uuid == found.attribute.uuid]
    yield f"{label}[{alike.index(found)}]"
