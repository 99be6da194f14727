"""The attribute table that a plan expects."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen
from benchrig.desk.paths import attributes_in
from benchrig.draft.evidence import HIDDEN, Evidence, Snapshot
from benchrig.draft.naming import Naming
from benchrig.plan.wording import service_name
from benchrig.plan.writing import Rows, StepText
from benchrig.steps.discover import PROPERTIES
from benchrig.values import catalogue

# service, number of the characteristic among those with its UUID -> properties, None where units differ
_Table = dict[str, dict[tuple[str, int], list[str]]]


def expected_table(evidence: Evidence, naming: Naming) -> StepText:
    """The step that expects what all units have; it expects nothing where they have nothing in common."""
    tables = [_table(look) for look in evidence.looks]
    common = {uuid: _common(uuid, tables) for uuid in tables[0] if all(uuid in table for table in tables)}
    step = StepText("discover", remarks=[*_remarks(evidence.looks, tables, naming)])
    if not all(table[uuid].keys() == common[uuid].keys() for table in tables for uuid in common):
        step.keys["extra"] = "allowed"
        step.remarks.append("not all characteristics are listed: units differ, or one has the UUID of a descriptor")
    elif _is_whole(tables, common) and not any(map(_twice, evidence.looks)):
        step.keys["extra"] = "forbidden"
    if services := naming.in_readings(common):
        step.hold("services", {"contains": services})
    rows = {service_name(uuid): _rows(characteristics, naming) for uuid, characteristics in common.items()}
    if filled := {service: each for service, each in rows.items() if each}:
        step.hold("table", Rows(filled))
    return step


def _is_whole(tables: list[_Table], common: dict[str, Any]) -> bool:
    """Whether the step lists every service of every unit, with something in it."""
    return all(table.keys() == common.keys() and all(table.values()) for table in tables)


def _common(uuid: str, tables: list[_Table]) -> dict[tuple[str, int], list[str]]:
    """The characteristics that a service has on every unit."""
    return {
        key: properties if all(table[uuid][key] == properties for table in tables) else []
        for key, properties in tables[0][uuid].items()
        if all(key in table[uuid] for table in tables) and not _is_descriptor(key[0])
    }


def _rows(characteristics: dict[tuple[str, int], list[str]], naming: Naming) -> Rows:
    counts = Counter(uuid for uuid, _ in characteristics)
    return Rows({
        naming.word(uuid) + (f"[{number}]" if counts[uuid] > 1 else ""): properties
        for (uuid, number), properties in characteristics.items()
    })  # fmt: skip


def _is_descriptor(uuid: str) -> bool:
    """A table of a plan lists no characteristic with the UUID of a descriptor: the name means another thing."""
    return catalogue.name_of(uuid, "descriptor") is not None and catalogue.name_of(uuid, "characteristic") is None


def _table(look: Snapshot) -> _Table:
    """Services that stand once, without those that operating systems hide."""
    twice = _twice(look)
    table: _Table = {each.uuid: {} for each in look.services if each.uuid not in HIDDEN and each.uuid not in twice}
    for place, seen in attributes_in(look.services):
        if isinstance(seen, CharacteristicSeen) and place.service in table:
            table[place.service][place.parts[1]] = [name for name in PROPERTIES if name in seen.properties]
    return table


def _twice(look: Snapshot) -> list[str]:
    counts = Counter(service.uuid for service in look.services)
    return [uuid for uuid, count in counts.items() if count > 1]


def _remarks(looks: list[Snapshot], tables: list[_Table], naming: Naming) -> Iterator[str]:
    for uuid in dict.fromkeys(uuid for look in looks for uuid in _twice(look) if uuid not in HIDDEN):
        yield f"the service {service_name(uuid)} appears more than once, which a table cannot express"
    for uuid in dict.fromkeys(uuid for table in tables for uuid in table):
        if not all(uuid in table for table in tables):
            yield f"the service {service_name(uuid)} is not on every unit"
    if any(service.uuid in HIDDEN for look in looks for service in look.services):
        yield "generic access and generic attribute are left out: operating systems keep them to themselves"
