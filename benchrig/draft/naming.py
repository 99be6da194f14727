"""What the plan calls attributes: names of a plan at hand, assigned names, and own names for what has none."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Iterator

from benchrig.desk.inspecting import format_of
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, ServiceSeen
from benchrig.draft.evidence import Spot, spots
from benchrig.errors import AttributeAmbiguous, AttributeMissing, DeviceError
from benchrig.plan.wording import service_name, spec_of
from benchrig.radio.table import Characteristic, Descriptor, Service, Table
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.format import FormatSpec
from benchrig.values.presentation import PRESENTATION_FORMAT

USER_DESCRIPTION = long_uuid(0x2901)
_DESCRIPTION = re.compile(r"[A-Za-z][A-Za-z0-9 _-]{0,38}[A-Za-z0-9]")


class Naming:
    """Names for the attributes of a table; in `others`, those of further units, they mean not more than one either.
    `aliases` are the names that the plan has to define: without a table all that are known."""

    def __init__(self, services: list[ServiceSeen], known: Names, others: Iterable[Table] = ()) -> None:
        self.table = table_of(services)
        self.aliases = dict(_still_there(known, self.table) if services else known.aliases)
        self._others = list(dict.fromkeys(table.services for table in others))
        self._seen = list(spots(services))
        self._handles = {spot: (descriptor or characteristic).handle for spot, characteristic, descriptor in self._seen}
        self._name_the_nameless()
        self.names = Names(self.aliases)
        self._single = dict(self._names_of_one())

    def name(self, spot: Spot) -> str:
        """The shortest name that means this attribute and no other."""
        handle = self._handles[spot]
        wanted = (handle, spot.uuid)
        return next((name for name in self._candidates(spot) if self._means(name, wanted)), f"handle 0x{handle:04X}")

    def format_of(self, name: str, uuid: str) -> Format | None:
        """The format that a step gets by this name."""
        return self.names.meaning(name).format or self.names.format_of(uuid)

    def _means(self, name: str, wanted: tuple[int, str]) -> bool:
        try:
            found = look_up(self.table, self.names, name).found.attribute
            return (found.handle, found.uuid) == wanted and not any(self._is_ambiguous(name, t) for t in self._others)
        except (DeviceError, Misfit):
            return False

    def _is_ambiguous(self, name: str, services: tuple[Service, ...]) -> bool:
        try:
            look_up(Table(services), self.names, name)
        except AttributeAmbiguous:
            return True
        except AttributeMissing:
            pass  # what is not on every unit is left out of the plan
        return False

    def service(self, uuid: str) -> str:
        """What selections, tables and steps call a service."""
        return service_name(uuid)

    def in_readings(self, uuids: Iterable[str]) -> list[str]:
        """Services as readings call them; not those whose UUID a characteristic with a name of its own has too."""
        return [self.service(uuid) for uuid in uuids if self.names.label(uuid, "service") == self.service(uuid)]

    def word(self, uuid: str, kind: str = "characteristic") -> str:
        """A name for every attribute with this UUID; 'serial number' rather than 'serial number string'."""
        label = self.names.label(uuid, kind)
        short = label.removesuffix(" string").removeprefix("characteristic ")
        return short if label != short and catalogue.uuid_of(short, kind) == uuid else label

    def _candidates(self, spot: Spot) -> Iterator[str]:
        if self._handles[spot] in self._single:
            yield self._single[self._handles[spot]]
        if spot.descriptor:
            around, word = self.name(spot.around), self.word(spot.descriptor, "descriptor")
            yield f"{around}/{word}"
            yield f"{around}/{word}[{spot.descriptor_number}]"
            return
        word, service = self.word(spot.characteristic), self.service(spot.service)
        yield word
        yield f"{service}/{word}"
        yield f"{service}[{spot.service_number}]/{word}"
        yield f"{service}/{word}[{spot.number}]"
        yield f"{service}[{spot.service_number}]/{word}[{spot.number}]"

    def _names_of_one(self) -> Iterator[tuple[int, str]]:
        """Own names that mean one attribute only, by its handle."""
        for name, spec in self.aliases.items():
            if spec.handle is not None or spec.service is not None or spec.index is not None:
                with contextlib.suppress(DeviceError):
                    yield look_up(self.table, self.names, name).found.attribute.handle, name

    def _name_the_nameless(self) -> None:
        """Own names for UUIDs that have none: what the device says itself, else part of the UUID."""
        known = Names(self.aliases)
        services = {service.uuid for service in self.table.services}
        for spot, characteristic, descriptor in self._seen:
            uuid, kind = spot.uuid, "descriptor" if descriptor else "characteristic"
            labelled = known.label(uuid, kind) != catalogue.short_uuid(uuid)
            if labelled or uuid in services or any(spec.uuid == uuid for spec in self.aliases.values()):
                continue
            name = self._free(_described(characteristic) if descriptor is None else "", uuid)
            form = self._presented(uuid) if descriptor is None else None
            self.aliases[name] = _alias(uuid, form)

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
        specs = [presented(seen) for spot, seen, descriptor in self._seen if descriptor is None and spot.uuid == uuid]
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
    form, known_by = format_of(Names(), seen.uuid, _presentation(seen))
    return spec_of(form) if form is not None and known_by == "presentation format" else None


def _presentation(seen: CharacteristicSeen) -> bytes | None:
    contents = [each.content for each in seen.descriptors if each.uuid == PRESENTATION_FORMAT]
    return contents[0].data if contents and contents[0] else None


def _still_there(known: Names, table: Table) -> Iterator[tuple[str, AttributeSpec]]:
    """The own names of a plan that mean something on this device."""
    uuids = {found.attribute.uuid for found in table.attributes()}
    handles = {found.attribute.handle for found in table.attributes()}
    for name, spec in known.aliases.items():
        if spec.uuid in uuids or spec.handle in handles:
            yield name, spec


def _described(seen: CharacteristicSeen) -> str:
    """The user description as a name; '' when it is none."""
    described: DescriptorSeen | None = seen.descriptor(0x2901)
    text = described.content.data.decode("ascii", "replace") if described and described.content else ""
    name = " ".join(text.lower().split()) if _DESCRIPTION.fullmatch(text) else ""
    return "" if name.startswith("handle ") else name  # that says where, not what


def _alias(uuid: str, form: FormatSpec | None) -> AttributeSpec:
    form = form or FormatSpec(as_="hex")
    return AttributeSpec(uuid=Uuid(uuid), as_=form.as_, scale=form.scale, unit=form.unit)
