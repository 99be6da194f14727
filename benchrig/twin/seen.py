"""All that a twin is made from, by attribute: each with what it is called, how it reads, and what was read and heard of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from benchrig.captures.hci import Traffic
from benchrig.desk.inspection import CharacteristicSeen, SecuritySeen, ServiceSeen
from benchrig.desk.paths import AttributeSeen, Place, attributes_in
from benchrig.draft.evidence import Evidence, StreamSeen
from benchrig.draft.naming import Naming, presented
from benchrig.errors import DeviceError
from benchrig.plan.model import Plan
from benchrig.plan.wording import spec_data
from benchrig.radio.table import Table
from benchrig.record.model import Record
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.lookup import look_up
from benchrig.twin.capture_story import told_by
from benchrig.twin.record_story import story_of
from benchrig.twin.story import Act, Story
from benchrig.twin.values import plain_of
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.format import FormatSpec, build_format

_OF_NAMES = ("uuid", "handle", "service", "index")
_HEX = FormatSpec(as_="hex")


@dataclass
class Row:
    """Values in the order in which one source saw them."""

    source: str
    values: list[bytes]


@dataclass
class Seen:
    """`records` with their plans, each where one is known; `levels` in dBm."""

    evidence: Evidence
    names: Names
    records: list[tuple[str, Record, Plan | None]] = field(default_factory=list)
    security: list[tuple[str, SecuritySeen]] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)
    # captures by name; those beside a record tell again what the record tells
    captures: list[tuple[str, Traffic, bool]] = field(default_factory=list)
    stories: list[Story] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.services: list[ServiceSeen] = next((look.services for look in self.evidence.looks if look.services), [])
        for _, _, plan in self.records:
            for device in plan.devices.values() if plan else ():
                self.names = Names({**device.names.aliases, **self.names.aliases})
        self.naming = Naming(self.services, self.names)
        self.table: Table = self.naming.table
        found = [place for place, _ in attributes_in(self.services)]
        self._places = dict(zip((each.handle for _, each in attributes_in(self.services)), found, strict=True))
        self._forms: dict[Place, FormatSpec | None] = {}
        self.stories = [
            *self.stories,
            *(
                story_of(record, plan, self.find, f"record {name}", self._key(record))
                for name, record, plan in self.records
            ),
        ]

        for name, traffic, is_beside in self.captures:
            told = told_by(traffic, self.evidence.units, self._places.get, f"capture {name}")
            self.evidence.heard += told.streams
            self.levels = self.levels or told.levels
            self.stories += [] if is_beside else [told.story]

    def _key(self, record: Record) -> str:
        """What the plan of a record calls the unit; '' for the only device."""
        address = next((look.unit for look in self.evidence.looks if look.services), "")
        return next((key for key, seen in record.devices.items() if seen.address == address), "")

    @property
    def main(self) -> str:
        """The source that most of it is from."""
        return next((look.source for look in self.evidence.looks if look.services), "")

    def find(self, name: str) -> Place | None:
        """The place of what a plan or a record calls so."""
        try:
            target = look_up(self.table, self.naming.names, name)
        except (DeviceError, Misfit):
            return None
        return self._places.get(target.found.attribute.handle)

    def attributes(self) -> Iterator[tuple[Place, AttributeSeen]]:
        return attributes_in(self.services)

    def alias(self, place: Place) -> str | None:
        """What the names at hand call it."""
        name = self.naming.name(place)
        return name if name in self.names.aliases else None

    def spec(self, place: Place, seen: AttributeSeen) -> FormatSpec | None:
        """The keys of its format; None where the assigned one is meant."""
        if place not in self._forms:
            spec = self._spec(place, seen)
            form = catalogue.definition(place.uuid) if spec is None else build_format(spec)
            self._forms[place] = spec if form is None or self._fits(place, seen, form) else _HEX
        return self._forms[place]

    def _fits(self, place: Place, seen: AttributeSeen, form: Format) -> bool:
        """Whether all that followed writes has this format: what has not, an effect can say as bytes alone."""
        acts = [act for story in self.stories for act in story.acts]
        answers = [answer for act in acts for answer in act.answers if answer.place == place]
        told = [answer.data for answer in answers if not (answer.skip or answer.last)]
        if isinstance(seen, CharacteristicSeen) and "write" in seen.properties:
            told += [act.data for act in acts if act.what == "read" and act.place == place and act.data is not None]
        return all(plain_of(form, data) is not None for data in told)

    def _spec(self, place: Place, seen: AttributeSeen) -> FormatSpec | None:
        name = self.alias(place)
        own = self.names.aliases[name] if name else None
        if own is not None and own.given():
            return own
        if catalogue.definition(place.uuid) is not None:
            return None
        said = presented(seen) if isinstance(seen, CharacteristicSeen) else None
        return said or _HEX

    def format_keys(self, place: Place, seen: AttributeSeen) -> dict[str, object]:
        spec = self.spec(place, seen)
        return {} if spec is None else {key: value for key, value in spec_data(spec).items() if key not in _OF_NAMES}

    def form(self, place: Place) -> Format | None:
        seen = dict(self.attributes())[place]
        spec = self.spec(place, seen)
        return catalogue.definition(place.uuid) if spec is None else build_format(spec)

    def reads(self, place: Place) -> list[Row]:
        """What was read before anything that could have changed it, by source; the first source first."""
        rows: dict[str, Row] = {}
        for look in self.evidence.looks:
            content = dict(attributes_in(look.services)).get(place)
            if content is not None and content.content is not None:
                rows.setdefault(look.source, Row(look.source, [])).values.append(content.content.data)
        for story in self.stories:
            values = [*_undisturbed(story, place)]
            if values:
                rows.setdefault(story.source, Row(story.source, [])).values += values
        return list(rows.values())

    def refusals(self, place: Place) -> list[Act]:
        return [act for story in self.stories for act in story.of("read") if act.place == place and act.error]

    def taken(self, place: Place) -> Act | None:
        """The first write that was not refused."""
        acts = (act for story in self.stories for act in story.of("write"))
        return next((act for act in acts if act.place == place and not act.error), None)

    def streams(self, place: Place) -> list[StreamSeen]:
        """Those with times of arrival first."""
        found = [
            each
            for each in self.evidence.heard
            if place == (self.find(each.of) if isinstance(each.of, str) else each.of)
        ]
        return sorted(found, key=lambda each: not each.values)


def _undisturbed(story: Story, place: Place) -> Iterator[bytes]:
    """What was read of it until something happened."""
    for act in story.acts:
        if act.what in ("write", "restart", "power", "disconnect"):
            return
        if act.what == "read" and act.place == place and act.data is not None and act.since is None:
            yield act.data


def sources(rows: Sequence[Row]) -> str:
    return ", ".join(dict.fromkeys(row.source for row in rows))
