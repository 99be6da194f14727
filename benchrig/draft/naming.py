"""What the plan calls attributes: names of a plan at hand, assigned names, and own names for what has none."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from benchrig.desk.inspecting import format_of
from benchrig.desk.inspection import CharacteristicSeen, ServiceSeen
from benchrig.desk.naming import Namer
from benchrig.desk.paths import Place, attributes_in
from benchrig.plan.wording import service_name, spec_of
from benchrig.radio.table import Characteristic, Descriptor, Service, Table
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.format import FormatSpec

_DESCRIPTION = re.compile(r"[A-Za-z][A-Za-z0-9 _-]{0,38}[A-Za-z0-9]")


class Naming:
    """Names for the attributes of a table; in `others`, those of further units, they mean not more than one either.
    `aliases` are the names that the plan has to define: without a table all that are known."""

    def __init__(self, services: list[ServiceSeen], known: Names, others: Iterable[Table] = ()) -> None:
        self.table = table_of(services)
        self.aliases = dict(_still_there(known, self.table) if services else known.aliases)
        self._seen = list(attributes_in(services))
        self._name_the_nameless()
        self.names = Names(self.aliases)
        self._namer = Namer(self.table, self.names, others)
        self.word = self._namer.word
        self._found = dict(zip((place for place, _ in self._seen), self.table.attributes(), strict=True))

    def name(self, place: Place) -> str:
        """The shortest name that means this attribute and no other."""
        return self._namer.name(self._found[place])

    def name_at(self, handle: int) -> str:
        """The same for the attribute with this handle; '' for none."""
        found = self.table.by_handle(handle)
        return self._namer.name(found[0]) if found else ""

    def format_of(self, name: str, uuid: str) -> Format | None:
        """The format that a step gets by this name."""
        return self.names.meaning(name).format or self.names.format_of(uuid)

    def in_readings(self, uuids: Iterable[str]) -> list[str]:
        """Services as readings call them; not those whose UUID a characteristic with a name of its own has too."""
        return [service_name(uuid) for uuid in uuids if self.names.label(uuid, "service") == service_name(uuid)]

    def _name_the_nameless(self) -> None:
        """Own names for UUIDs that have none: what the device says itself, else part of the UUID."""
        known = Names(self.aliases)
        services = {service.uuid for service in self.table.services}
        for place, seen in self._seen:
            uuid, kind = place.uuid, "descriptor" if place.is_descriptor else "characteristic"
            labelled = known.label(uuid, kind) != catalogue.short_uuid(uuid)
            if labelled or uuid in services or any(spec.uuid == uuid for spec in self.aliases.values()):
                continue
            value = seen if isinstance(seen, CharacteristicSeen) else None
            name = self._free(_described(value) if value else "", uuid)
            self.aliases[name] = _alias(uuid, self._presented(uuid) if value else None)

    def _free(self, described: str, uuid: str) -> str:
        """A name that nothing else has."""
        short = catalogue.short_uuid(uuid).partition("-")[0]
        taken = {*self.aliases, *(word for kind in _KINDS for word in catalogue.names(kind))}
        for name in (described, f"own {short}"):
            if name and name not in taken:
                return name
        return next(name for number in range(2, 10**6) if (name := f"own {short} {number}") not in taken)

    def _presented(self, uuid: str) -> FormatSpec | None:
        """The format that all characteristics with this UUID say they have."""
        alike = [seen for place, seen in self._seen if place.uuid == uuid]
        specs = [presented(seen) for seen in alike if isinstance(seen, CharacteristicSeen)]
        first = specs[0]
        return first if all(spec == first for spec in specs) else None


_KINDS = ("service", "characteristic", "descriptor")


def table_of(services: list[ServiceSeen]) -> Table:
    """The attribute table that an inspection shows."""
    return Table(tuple(
        Service(service.handle, service.uuid, tuple(
            Characteristic(c.handle, c.uuid, tuple(c.properties), tuple(Descriptor(d.handle, d.uuid) for d in c.descriptors))
            for c in service.characteristics
        ))
        for service in services
    ))  # fmt: skip


def presented(seen: CharacteristicSeen) -> FormatSpec | None:
    """The format that a characteristic says it has, as a plan writes it; None where it says none that can be."""
    descriptor = seen.descriptor(0x2904)
    data = descriptor.content.data if descriptor and descriptor.content else None
    form, known_by = format_of(Names(), seen.uuid, data)
    return spec_of(form) if form is not None and known_by == "presentation format" else None


def _still_there(known: Names, table: Table) -> Iterator[tuple[str, AttributeSpec]]:
    """The own names of a plan that mean something on this device."""
    uuids = {found.attribute.uuid for found in table.attributes()}
    handles = {found.attribute.handle for found in table.attributes()}
    for name, spec in known.aliases.items():
        if spec.uuid in uuids or spec.handle in handles:
            yield name, spec


def _described(seen: CharacteristicSeen) -> str:
    """The user description as a name; '' when it is none."""
    described = seen.descriptor(0x2901)
    text = described.content.data.decode("ascii", "replace") if described and described.content else ""
    name = " ".join(text.lower().split()) if _DESCRIPTION.fullmatch(text) else ""
    return "" if name.startswith("handle ") else name  # that says where, not what


def _alias(uuid: str, form: FormatSpec | None) -> AttributeSpec:
    form = form or FormatSpec(as_="hex")
    return AttributeSpec(uuid=Uuid(uuid), as_=form.as_, scale=form.scale, unit=form.unit)
