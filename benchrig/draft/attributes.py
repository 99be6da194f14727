"""Evidence by attribute: what each is called, how its value reads, and all that was read or heard of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen
from benchrig.desk.naming import Namer
from benchrig.desk.paths import AttributeSeen, Place, attributes_in
from benchrig.draft.evidence import HIDDEN, Evidence, StreamSeen
from benchrig.draft.naming import Naming, presented, table_of
from benchrig.errors import DeviceError, MalformedValue
from benchrig.plan.wording import spec_of
from benchrig.radio.table import Segment, Table
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.readable import text_in

# Their values say who has subscribed, which is the bench itself.
SUBSCRIPTIONS = (long_uuid(0x2902), long_uuid(0x2903))


@dataclass
class AttributeEvidence:
    """One attribute."""

    name: str
    uuid: str
    properties: list[str]
    form: Format | None
    # a format that its steps have to name
    own: FormatSpec | None = None
    place: Place | None = None
    # bytes by unit in the order they came, and ATT errors by name
    reads: dict[str, list[bytes]] = field(default_factory=dict)
    refusals: dict[str, list[str]] = field(default_factory=dict)
    # seconds of each read, and why there was none
    took: list[float] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    streams: list[StreamSeen] = field(default_factory=list)
    # the units that lack it
    absent: list[str] = field(default_factory=list)
    # its bytes are no more than taken for a text
    is_text: bool = False
    # why the bytes of a good device are not read in the format that was known
    misfit: str = ""
    handle: int = 0

    @property
    def is_descriptor(self) -> bool:
        return self.place is not None and self.place.is_descriptor

    @property
    def is_setting(self) -> bool:
        """Whether it can be written, so that its value is what somebody has set."""
        return bool({"write", "write without response", "signed write"} & set(self.properties))

    def values(self) -> dict[str, list[Any]]:
        """What was read, decoded, by unit."""
        return {unit: [self.decode(data) for data in reads] for unit, reads in self.reads.items()}

    def decode(self, data: bytes) -> Any:
        return data if self.form is None else self.form.decode(data)


def subjects(evidence: Evidence, known: Names) -> tuple[Naming, list[AttributeEvidence]]:
    """The naming, made for the first unit's table, and every attribute in the order of the table; last those that
    only records name."""
    services = evidence.looks[0].services if evidence.looks else []
    naming = Naming(services, known, (table_of(look.services) for look in evidence.looks[1:]))
    found = {
        place: _subject(naming, known, place, seen)
        for place, seen in attributes_in(services)
        if place.service not in HIDDEN and not (place.is_descriptor and place.uuid in SUBSCRIPTIONS)
    }
    _add_looks(evidence, found)
    everyone = _Everyone(naming.names if services else known, naming.table, found)
    for read in evidence.reads:
        _add_read(everyone.of(read.name), read.unit, read.raw, read.refused)
    for stream in evidence.heard:
        subject = everyone.of(stream.of) if isinstance(stream.of, str) else found.get(stream.of)
        if subject is not None:
            subject.streams.append(stream)
    for subject in everyone.subjects:
        _settle_format(subject)
        if known.format_of(subject.uuid) is None:
            _settle_text(subject)
    return naming, everyone.subjects


class _Everyone:
    """The subjects by their places, and those that a record has another name for."""

    def __init__(self, names: Names, table: Table, found: dict[Place, AttributeEvidence]) -> None:
        self.names, self.table = names, table
        self.subjects = [*found.values()]
        self._by_name: dict[str, AttributeEvidence | None] = {subject.name: subject for subject in self.subjects}
        self._by_handle = {subject.handle: subject for subject in self.subjects}

    def of(self, name: str) -> AttributeEvidence | None:
        """The subject that a record calls so; a new one where there is no table; None for one that nobody knows."""
        if name not in self._by_name:
            self._by_name[name] = self._find(name)
        return self._by_name[name]

    def _find(self, name: str) -> AttributeEvidence | None:
        try:
            meaning = self.names.meaning(AttributeName.from_source(name))
            if self.table.services:
                return self._by_handle.get(look_up(self.table, self.names, name).found.attribute.handle)
        except (DeviceError, Misfit):
            return None
        if meaning.address.handle is not None:
            return None
        path = meaning.address.path
        subject = AttributeEvidence(self._in_words(path), path[-1].uuid or "", [], meaning.format)
        self.subjects.append(subject)
        return subject

    def _in_words(self, path: Sequence[Segment]) -> str:
        """The attribute as a plan for people names it."""
        namer = Namer(self.table, self.names)
        parts = ((namer.word(each.uuid or "", None), each.index) for each in path)
        return "/".join(name if index is None else f"{name}[{index}]" for name, index in parts)


def _subject(naming: Naming, known: Names, place: Place, seen: AttributeSeen) -> AttributeEvidence:
    """An attribute with the format that the plan will know, or that its steps have to name."""
    name = naming.name(place)
    form = naming.format_of(name, place.uuid)
    value = seen if isinstance(seen, CharacteristicSeen) else None
    properties = list(value.properties) if value else []
    subject = AttributeEvidence(name, place.uuid, properties, form, place=place, handle=seen.handle)
    says = presented(value) if value else None
    if says is not None and known.format_of(place.uuid) is None and (form is None or spec_of(form) != says):
        subject.own, subject.form = says, build_format(says)
    elif name.startswith("handle "):
        subject.own, subject.form = FormatSpec(as_="hex"), None
    return subject


def _add_looks(evidence: Evidence, found: dict[Place, AttributeEvidence]) -> None:
    for look in evidence.looks:
        here = dict(attributes_in(look.services))
        for place, subject in found.items():
            if place not in here:
                subject.absent += [look.unit] if look.unit not in subject.absent else []
                continue
            seen = here[place]
            refused = "" if seen.refused is None else catalogue.att_error_name(seen.refused)
            _add_read(subject, look.unit, seen.content.data if seen.content else None, refused)
            if isinstance(seen, CharacteristicSeen) and seen.content is not None and seen.elapsed is not None:
                subject.took.append(seen.elapsed)
            if not seen.is_known:
                subject.unread.append(seen.unread)


def _add_read(subject: AttributeEvidence | None, unit: str, raw: bytes | None, refused: str) -> None:
    if subject is None:
        return
    if refused:
        subject.refusals.setdefault(unit, []).append(refused)
    elif raw is not None:
        subject.reads.setdefault(unit, []).append(raw)


def _settle_format(subject: AttributeEvidence) -> None:
    """A format that a good device's bytes do not fit cannot stand in its plan: bytes are judged as bytes then."""
    reads = [data for each in subject.reads.values() for data in each]
    try:
        for data in reads + [data for stream in subject.streams for data in stream.values]:
            subject.decode(data)
    except MalformedValue as error:
        subject.misfit = error.message
        subject.own, subject.form = FormatSpec(as_="hex"), None


def _settle_text(subject: AttributeEvidence) -> None:
    """Bytes of an own attribute that were a text each time are drafted as one."""
    seen = [data for each in subject.reads.values() for data in each]
    seen += [data for stream in subject.streams for data in stream.values]
    is_plain = subject.form is None or subject.form.kind == "bytes"
    if is_plain and not subject.misfit and seen and all(map(text_in, seen)):
        subject.own, subject.is_text = FormatSpec(as_="utf8"), True
        subject.form = build_format(subject.own)
