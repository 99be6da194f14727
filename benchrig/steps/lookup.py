"""Finds the attribute that a name means in the table of a connected device."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from benchrig.errors import AttributeAmbiguous, AttributeMissing, PropertyMissing, StationError
from benchrig.radio.offers import ON_OTHER_RADIO, hidden_attribute
from benchrig.radio.table import offers
from benchrig.source.problem import suggest
from benchrig.steps.attribute import AttributeName, Meaning, Names
from benchrig.steps.bench import Target

if TYPE_CHECKING:
    from benchrig.radio.table import Found, Table

_HEX = re.compile(r"(?:0x)?([0-9A-Fa-f]{4})")


def look_up(table: Table, names: Names, name: AttributeName | str, needs: tuple[str, ...] = ()) -> Target:
    """The one attribute of this name. `needs` names properties of which a characteristic must have one. Raises
    AttributeMissing, AttributeAmbiguous, and Misfit for a name that is not known."""
    meaning = names.meaning(name)
    address = meaning.address
    found = table.by_handle(address.handle) if address.handle is not None else table.find(address.path)
    if not found:
        _shown(meaning, table, names)
        raise _missing(meaning, table, names)
    if len(found) > 1:
        raise _ambiguous(meaning, found, names)
    attribute = found[0].attribute
    if needs and not offers(attribute, needs):
        has = ", ".join(getattr(attribute, "properties", ())) or "none"
        raise PropertyMissing(f"{name} does not offer {' or '.join(needs)}; its properties: {has}")
    return Target(str(name), found[0], meaning.format or names.format_of(attribute.uuid))


def _shown(meaning: Meaning, table: Table, names: Names) -> None:
    """StationError where the radio hides what is looked for, or may hide it: that it is missing proves nothing."""
    handle = meaning.address.handle
    if hidden_attribute(meaning.name, table.hidden, names) or (handle is not None and table.may_hide(handle)):
        raise StationError(
            f"this radio does not show '{meaning.name}': the operating system hides generic access and human interface device",
            advice=ON_OTHER_RADIO,
        )


def path_of(found: Found, names: Names) -> str:
    """The names from the service to the attribute: 'battery service/battery level'."""
    return "/".join(names.label(part.uuid) for part in found.chain)


def _missing(meaning: Meaning, table: Table, names: Names) -> AttributeMissing:
    if match := _HEX.fullmatch(meaning.name):
        handle = int(match[1], 16)
        if table.by_handle(handle):
            return AttributeMissing(
                f"the device has no attribute '{meaning.name}': that is a UUID",
                advice=f"write 'handle 0x{handle:04X}' for the attribute with this handle",
            )
    begun = {
        found.attribute.uuid for found in table.attributes() if found.attribute.uuid.startswith(meaning.name.lower())
    }
    if len(begun) == 1:
        return AttributeMissing(
            f"the device has no attribute '{meaning.name}'",
            advice=f"did you mean '{begun.pop()}'? Write the whole UUID",
        )
    offered = list(dict.fromkeys(names.label(found.attribute.uuid) for found in table.attributes()))
    nearest = suggest(meaning.name, offered)
    return AttributeMissing(
        f"the device has no attribute '{meaning.name}'",
        advice=nearest or f"choose one of: {', '.join(offered[:12])}" if offered else "its table is empty",
    )


def _ambiguous(meaning: Meaning, found: list[Found], names: Names) -> AttributeAmbiguous:
    candidates = "; ".join(f"{path_of(each, names)} (handle 0x{each.attribute.handle:04X})" for each in found)
    return AttributeAmbiguous(
        f"'{meaning.name}' is ambiguous, {len(found)} attributes answer to it: {candidates}",
        advice="name the service ('service/characteristic'), an index ('name[0]') or 'handle 0x…'",
    )
