"""The table that was seen -> the services of a device file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, ServiceSeen
from benchrig.desk.paths import Place, attributes_in
from benchrig.plan.wording import service_name
from benchrig.source.layout import Path
from benchrig.source.problem import counted
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.steps.sending import ENDED_BY_DEVICE
from benchrig.twin.cases import seconds
from benchrig.twin.seen import Row, Seen, sources
from benchrig.twin.timing import losses_of, pace_of
from benchrig.twin.values import Valued, constant, counter, moving, noise, numbers_in
from benchrig.values import catalogue
from benchrig.values.att_errors import INSUFFICIENT
from benchrig.values.base import Format
from benchrig.values.catalogue import att_error_name, long_uuid
from benchrig.values.quantity import exact

CCCD, RANGE = long_uuid(0x2902), long_uuid(0x2906)
READABLE, SENDING = {"read"}, {"notify", "indicate"}
# Longer than the slowest of the others by so many seconds: late by itself.
_SLOW = 0.2
# What a look says of a request without an answer.
_SILENT = "the device did not answer within"


@dataclass
class Part:
    """Keys of a device file, with comments by path from here, and what could not be seen of it."""

    keys: dict[str, Any] = field(default_factory=dict)
    comments: dict[Path, str] = field(default_factory=dict)
    unseen: list[str] = field(default_factory=list)

    def put(self, key: str, value: Any, says: str = "") -> None:
        self.keys[key] = value
        if says:
            self.comments[key,] = says

    def take(self, key: str, parts: list[Part]) -> None:
        """Other parts as a list."""
        if not parts:
            return
        self.keys[key] = [part.keys for part in parts]
        for index, part in enumerate(parts):
            self.comments |= {(key, index, *path): text for path, text in part.comments.items()}
            self.unseen += part.unseen


class TableWriter:
    """`own` are the names of characteristics that are not called by their UUIDs."""

    def __init__(self, seen: Seen) -> None:
        self._seen = seen
        self._moving: dict[Place, Valued] = {}
        self.own = dict(self._names())
        took = [each.elapsed for _, each in seen.attributes() if isinstance(each, CharacteristicSeen) and each.elapsed]
        self._usual = sorted(took)[len(took) // 2] if took else 0.0

    def name(self, place: Place) -> str:
        """What effects call it."""
        return self.own.get(place) or written(place.uuid, "characteristic")

    def _names(self) -> Iterator[tuple[Place, str]]:
        """Names of the plan; where one would mean several, with what tells them apart."""
        places = [place for place, each in self._seen.attributes() if isinstance(each, CharacteristicSeen)]
        count = Counter(place.uuid for place in places)
        for place in places:
            if alias := self._seen.alias(place):
                yield place, alias
            elif count[place.uuid] > 1:
                yield place, self._seen.naming.name(place)

    def services(self) -> list[Part]:
        parts = []
        inner: dict[Place, list[Part]] = {}
        for place, each in self._seen.attributes():
            if isinstance(each, CharacteristicSeen):
                assert place.outer is not None
                inner.setdefault(place.outer, []).append(self._characteristic(place, each))
        met = Counter[str]()
        for service in self._seen.services:
            parts.append(self._service(service, inner.get(Place(((service.uuid, met[service.uuid]),)), [])))
            met[service.uuid] += 1
        return parts

    def _service(self, service: ServiceSeen, characteristics: list[Part]) -> Part:
        part = Part({"service": service_name(service.uuid)})
        part.take("characteristics", characteristics)
        return part

    def _characteristic(self, place: Place, seen: CharacteristicSeen) -> Part:
        part = Part({"characteristic": written(seen.uuid, "characteristic")})
        if place in self.own:
            part.keys["name"] = self.own[place]
        part.keys |= self._seen.format_keys(place, seen)
        part.keys["properties"] = [*seen.properties]
        self._value(part, place, seen)
        self._pace(part, place, seen)
        self._reading(part, place, seen)
        descriptors = [self._descriptor(place, each, seen) for each in seen.descriptors if each.uuid != CCCD]
        part.take("descriptors", descriptors)
        self._subscribing(part, seen)
        return part

    def value(self, place: Place) -> Valued | None:
        """What was read before anything changed it; else what it sends; None where neither was seen."""
        if place not in self._moving:
            found = self._read(place) or self._sent(place)
            if found is None:
                return None
            self._moving[place] = found
        return self._moving[place]

    def moves(self, place: Place) -> bool:
        found = self.value(place)
        return found is not None and found.moves

    def initial(self) -> dict[Place, bytes]:
        """The first value of everything that stays as it is."""
        rows = ((place, self._seen.reads(place)) for place, _ in self._seen.attributes())
        return {place: found[0].values[0] for place, found in rows if found and not self.moves(place)}

    def _read(self, place: Place) -> Valued | None:
        rows, form = self._seen.reads(place), self._seen.form(place)
        if not rows:
            return None
        streams = [Row(each.source, each.values) for each in self._seen.streams(place) if each.values]
        told = [*rows, *streams]
        alike = all(len(set(row.values)) == 1 for row in told)
        others = [row for row in told if row.values[0] != rows[0].values[0]]
        if alike and others and not _is_measured(form):
            says = f"{rows[0].source}; another value in {sources(others)}"
            return Valued(constant(form, rows[0].values[0]), says)
        found = moving(form, [row.values for row in told])
        says = f"{sources(told)}: {found.says}" if found.moves else rows[0].source
        return Valued(found.keys, says, found.moves)

    def _sent(self, place: Place) -> Valued | None:
        streams, form = self._seen.streams(place), self._seen.form(place)
        rows = [Row(each.source, each.values) for each in streams if each.values]
        if rows:
            found = moving(form, [row.values for row in rows])
            return Valued(found.keys, f"{sources(rows)}: {found.says}", moves=True)
        summed = next((each for each in streams if each.fields), None)
        if summed is None or form is None:
            return None
        made = _of_summary(
            form, {name.removeprefix("value").lstrip("."): group for name, group in summed.fields.items()}
        )
        return (
            None if made is None else Valued({"value": made}, f"{summed.source}: statistics of its values", moves=True)
        )

    def _value(self, part: Part, place: Place, seen: CharacteristicSeen) -> None:
        found = self.value(place)
        if found is not None:
            (key, value), *_ = found.keys.items()
            part.put(key, value, found.says)
            if key == "raw" and found.moves:
                part.unseen.append(f"{self.name(place)}: how its value moves (not all values fit one format)")
        elif {*seen.properties} & (READABLE | SENDING):
            form = self._seen.form(place)
            part.put("raw", Quoted("00" * (form.size or 0) if form else ""), "no value was seen")
            part.unseen.append(f"{self.name(place)}: no value ({seen.unread or 'nothing arrived'})")

    def _pace(self, part: Part, place: Place, seen: CharacteristicSeen) -> None:
        if not SENDING & {*seen.properties}:
            return
        streams = self._seen.streams(place)
        form = self._seen.form(place)
        pace = pace_of(streams, lambda values: numbers_in(form, values))
        if pace is None:
            why = self._seen.evidence.silent.get(place, "")
            said = (
                f"subscribing was refused: {why}"
                if why
                else "it sent too little for a period"
                if any(each.count for each in streams)
                else "nobody listened"
                if not streams
                else "nothing arrived while somebody listened"
            )
            part.unseen.append(f"{self.name(place)}: how often it sends ({said})")
            return
        keys: dict[str, Any] = {"period": seconds(pace.period)} | (
            {"jitter": seconds(pace.jitter)} if pace.jitter >= 0.001 else {}
        )
        self._losses(part, place, keys)
        part.put("notify", keys, f"{streams[0].source}: {pace.says}")

    def _losses(self, part: Part, place: Place, keys: dict[str, Any]) -> None:
        """What a counter shows to be missing."""
        form = self._seen.form(place)
        lost = losses_of(self._seen.streams(place), lambda values: numbers_in(form, values))
        if not lost.missing:
            return
        says = f"{counted(lost.missing, 'value')} of {lost.count} missing by the counter"
        if lost.every is not None:
            keys["drop_every"] = lost.every
            part.comments["notify", "drop_every"] = says
            return
        share = max(1, round(1000 * lost.missing / lost.count))
        sometimes = {"share": Bare(f"{decimal_text(exact(share / 10))} %"), "silent": True}
        part.put("on_notify", {"sometimes": [sometimes]}, f"{says}; when is a guess")
        part.unseen.append(f"{self.name(place)}: which values it leaves out ({says})")

    def _reading(self, part: Part, place: Place, seen: CharacteristicSeen) -> None:
        refused = next((act for act in self._seen.refusals(place)), None)
        code = seen.refused if not seen.guarded else None
        if "read" in seen.properties and code is not None and code not in INSUFFICIENT:
            part.put("on_read", {"att_error": _error(code)}, self._where(place))
        elif (
            "read" in seen.properties
            and refused is not None
            and "insufficient" not in refused.error
            and seen.content is None
        ):
            part.put("on_read", {"att_error": refused.error}, refused.where)
        elif self._seen.evidence.ended.get(place) in ENDED_BY_DEVICE and "read" in seen.properties:
            part.put("on_read", {"disconnect": True}, f"{self._seen.main}: the link ended while it was read")
        elif "read" in seen.properties and seen.content is None and _SILENT in seen.unread:
            part.put("on_read", {"silent": True}, f"{self._where(place)}: {seen.unread}")
        elif seen.elapsed is not None and seen.elapsed > self._usual + _SLOW:
            part.put(
                "on_read",
                {"delay": seconds(seen.elapsed - self._usual)},
                f"{self._where(place)}: the read took {seen.elapsed:.3g} s",
            )
        if not seen.is_known and "read" in seen.properties:
            part.unseen.append(f"{self.name(place)}: what a read comes to ({seen.unread})")

    def _where(self, place: Place) -> str:
        """The first look that has it."""
        return next(
            (look.source for look in self._seen.evidence.looks if place in dict(attributes_in(look.services))), ""
        )

    def _subscribing(self, part: Part, seen: CharacteristicSeen) -> None:
        count = sum(each.uuid == CCCD for each in seen.descriptors)
        if SENDING & {*seen.properties} and count != 1:
            part.put("cccd", False, "its descriptor for subscribing is missing" if not count else f"{count} of them")
            extra = [{"descriptor": written(CCCD, "descriptor"), "raw": Quoted("00 00")} for _ in range(count)]
            part.keys["descriptors"] = [*part.keys.get("descriptors", []), *extra]

    def _descriptor(self, place: Place, seen: DescriptorSeen, around: CharacteristicSeen) -> Part:
        part = Part({"descriptor": written(seen.uuid, "descriptor")})
        alike = [each for each in around.descriptors if each.uuid == seen.uuid]
        taken = self._seen.taken(Place((*place.parts, (seen.uuid, [*map(id, alike)].index(id(seen))))))
        if taken is not None:
            part.put("writable", True, f"{taken.where}: a write was taken")
        if seen.content is None:
            part.put("raw", Quoted(""), f"not read: {seen.unread}")
            part.unseen.append(f"{self.name(place)}, descriptor {seen.name}: no value ({seen.unread})")
            return part
        form = self._seen.form(place)
        own = (
            catalogue.valid_range_format(form)
            if seen.uuid == RANGE and form and form.size
            else catalogue.definition(seen.uuid)
        )
        (key, value), *_ = constant(own, seen.content.data).items()
        part.put(key, value)
        return part


def _of_summary(form: Format, groups: Mapping[str, Any]) -> Any:
    """A value of statistics by field; None where a field has none."""
    leaves = form.leaves() or {"": form}
    if not leaves.keys() <= groups.keys():
        return None
    try:
        made = {
            name: (counter(leaf, groups[name].minimum) if _rises(leaf, groups[name]) else noise(leaf, groups[name]))[0]
            for name, leaf in leaves.items()
        }
    except ValueError:
        return None
    return made.get("", made)


def _rises(leaf: Format, group: Any) -> bool:
    """As many values as there are numbers between the first and the last: it counts."""
    return not leaf.unit and group.count > 2 and group.maximum - group.minimum == group.count - 1


def _is_measured(form: Format | None) -> bool:
    return form is not None and any(each.unit for each in (form.leaves() or {"": form}).values())


def _error(code: int) -> Any:
    name = att_error_name(code)
    return Bare(f"0x{code:02X}") if "0x" in name else name


def written(uuid: str, kind: str) -> str:
    """As people write it: the assigned name, without 'string' at its end, or the UUID."""
    name = catalogue.name_of(uuid, kind)
    if name is None:
        return catalogue.short_uuid(uuid)
    short = name.removesuffix(" string").removeprefix("characteristic ")
    return short if catalogue.uuid_of(short, kind) == uuid else name
