"""The attribute table that a plan expects."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.inspection import ServiceSeen
from benchrig.draft.evidence import HIDDEN, Evidence, Snapshot
from benchrig.draft.naming import Naming
from benchrig.draft.write import value
from benchrig.source.writing import flow, scalar
from benchrig.steps.discover import PROPERTIES
from benchrig.values import catalogue

# service, number of the characteristic among those with its UUID -> properties, None where units differ
_Table = dict[str, dict[tuple[str, int], list[str]]]


def table_lines(evidence: Evidence, naming: Naming) -> tuple[bool, list[str], list[str]]:
    """Whether units agree about the listed services, the lines below `expect:`, and remarks."""
    tables = [_table(look) for look in evidence.looks]
    common: _Table = {}
    for uuid, characteristics in tables[0].items():
        if all(uuid in table for table in tables):
            common[uuid] = {
                key: properties if all(table[uuid][key] == properties for table in tables) else []
                for key, properties in characteristics.items()
                if all(key in table[uuid] for table in tables)
            }
    common = {
        uuid: {key: item for key, item in each.items() if not _is_descriptor(key[0])} for uuid, each in common.items()
    }
    complete = all(table[uuid].keys() == common[uuid].keys() for table in tables for uuid in common)
    remarks = [*_remarks(evidence.looks, tables, naming)]
    remarks += (
        [] if complete else ["not all characteristics are listed: units differ, or one has the UUID of a descriptor"]
    )
    return complete, [*_lines(common, naming)], remarks


def _is_descriptor(uuid: str) -> bool:
    """A table of a plan lists no characteristic with the UUID of a descriptor: the name means another thing."""
    return catalogue.name_of(uuid, "descriptor") is not None and catalogue.name_of(uuid, "characteristic") is None


def _table(look: Snapshot) -> _Table:
    """Services that stand once, without those that operating systems hide."""
    return {s.uuid: _characteristics(s) for s in look.services if s.uuid not in HIDDEN and s.uuid not in _twice(look)}


def _characteristics(service: ServiceSeen) -> dict[tuple[str, int], list[str]]:
    counts: Counter[str] = Counter()
    table = {}
    for characteristic in service.characteristics:
        known = [name for name in PROPERTIES if name in characteristic.properties]
        table[characteristic.uuid, counts[characteristic.uuid]] = known
        counts[characteristic.uuid] += 1
    return table


def _twice(look: Snapshot) -> list[str]:
    counts = Counter(service.uuid for service in look.services)
    return [uuid for uuid, count in counts.items() if count > 1]


def _remarks(looks: list[Snapshot], tables: list[_Table], naming: Naming) -> Iterator[str]:
    for uuid in dict.fromkeys(uuid for look in looks for uuid in _twice(look) if uuid not in HIDDEN):
        yield f"the service {naming.service(uuid)} stands several times, which a table cannot say"
    for uuid in dict.fromkeys(uuid for table in tables for uuid in table):
        if not all(uuid in table for table in tables):
            yield f"the service {naming.service(uuid)} is not on every unit"
    if any(service.uuid in HIDDEN for look in looks for service in look.services):
        yield "generic access and generic attribute are left out: operating systems keep them to themselves"


def _lines(common: _Table, naming: Naming) -> Iterator[str]:
    services = naming.in_readings(common)
    if services:
        yield f"      services: {value({'contains': services})}"
    filled = {uuid: characteristics for uuid, characteristics in common.items() if characteristics}
    if filled:
        yield "      table:"
    for uuid, characteristics in filled.items():
        counts = Counter(each for each, _ in characteristics)
        yield f"        {scalar(naming.service(uuid))}:"
        for (each, number), properties in characteristics.items():
            word = naming.word(each) + (f"[{number}]" if counts[each] > 1 else "")
            yield f"          {scalar(word)}: {flow(properties)}"
