"""What was seen -> a device file, each line with where it is from, and what was not seen at its head."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median, stdev
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen, ServiceSeen
from benchrig.desk.paths import Place
from benchrig.draft.evidence import Snapshot
from benchrig.errors import PlanError
from benchrig.radio.scan import is_address
from benchrig.radio.virtual.device_file import devices_of
from benchrig.radio.virtual.device_spec import TOP_BITS, DeviceSpec
from benchrig.radio.virtual.words import AddressText
from benchrig.radio.virtual.writing import device_text, fit_name
from benchrig.source.layout import Layout, Path
from benchrig.source.problem import Problems, counted
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.source.yaml import read_bytes
from benchrig.twin.advertised import data_of, interval_of, told_by_system
from benchrig.twin.cases import Wording, seconds
from benchrig.twin.conduct import Conduct
from benchrig.twin.reactions import reactions_of
from benchrig.twin.security import needs_of, pairing_of
from benchrig.twin.seen import Seen
from benchrig.twin.table import CCCD, Part, TableWriter
from benchrig.values.catalogue import long_uuid
from benchrig.values.quantity import exact

GENERIC_ACCESS = long_uuid(0x1800)
_WRITES = {"write", "write without response", "signed write"}


@dataclass
class Twin:
    """`text` is the file; `unseen` and `guesses` are what its head tells."""

    device: DeviceSpec
    text: str
    sources: list[str]
    unseen: list[str] = field(default_factory=list)


def twin_of(seen: Seen) -> Twin:
    """Raises PlanError where what was seen makes no device file: an error of ours."""
    made = _Composer(seen).part()
    device = _read(made.keys)
    head = [*_head(seen, made.unseen)]
    comments = {path: said for path, text in made.comments.items() if (said := _beside(text, seen.main))}
    return Twin(device, device_text(device, comments, head), seen.evidence.sources, made.unseen)


def _beside(text: str, main: str) -> str:
    """A comment without the source that the head names for all."""
    return "" if text == main else text.removeprefix(f"{main}: ")


def _read(keys: dict[str, Any]) -> DeviceSpec:
    problems = Problems()
    node = read_bytes(Layout().text(keys).encode("utf-8", "surrogatepass"), "twin", problems, "")
    found = [] if node is None or problems.found else devices_of(node, problems)
    if not found or not isinstance(found[0], DeviceSpec):
        raise PlanError(problems.found)
    return found[0]


def _head(seen: Seen, unseen: Sequence[str]) -> Iterator[str]:
    yield "A twin: it says what was seen and no more. Made from:"
    yield from (f"- {source}" for source in seen.evidence.sources)
    if seen.captures:
        yield "It holds what went over the radio: treat it as secret where that is."
    if seen.evidence.simulated:
        yield "The device was a simulated one."
    yield f"A line whose comment names no source, or that has none, is from: {seen.main}"
    yield "Not seen:"
    yield from (f"- {line}" for line in [*seen.evidence.doubts, *unseen])


class _Composer:
    def __init__(self, seen: Seen) -> None:
        self._seen, self._table = seen, TableWriter(seen)
        initial = self._table.initial()
        self._found = reactions_of(seen.stories, initial, self._table.moves)
        self._conduct = Conduct(self._found, Wording(self._table.name, seen.form), initial)

    def part(self) -> Part:
        made = Part()
        self._identity(made)
        _into(made, "advertising", self._advertising())
        self._level(made)
        self._mtu(made)
        _into(made, "security", pairing_of(self._seen))
        self._conduct.occasions(made)
        made.take("services", self._services())
        self._access(made)
        made.unseen += self._general()
        return made

    # --- who it is

    def _identity(self, made: Part) -> None:
        look = next(look for look in self._seen.evidence.looks if look.services)
        unit = next(unit for unit in self._seen.evidence.met if unit.unit == look.unit)
        others = [each for each in self._seen.evidence.units if each != look.unit]
        if others:
            made.unseen.append(f"whether {', '.join(others)} is the same unit: what is from it is told with it")
        made.put("device", fit_name(unit.name) or f"unit {unit.address}".strip())
        self._address(made, unit.address, look)

    def _address(self, made: Part, address: str, look: Snapshot) -> None:
        is_public = look.address_type == "public"
        if not is_address(address) or not (is_public or AddressText(address).top_bits in TOP_BITS.values()):
            made.unseen.append("its address (this radio does not tell it); the twin has another")
            return
        made.put("address", Quoted(address), look.source)
        if is_public:
            made.put("address_type", "public")
        elif AddressText(address).top_bits != TOP_BITS["static"]:
            made.unseen.append("its identity: the address is a private one, which the twin keeps")

    def _advertising(self) -> Part:
        part, evidence = Part(), self._seen.evidence
        looks = [(look.source, look.advertising) for look in evidence.looks if look.advertising is not None]
        if not looks:
            part.unseen.append("how it advertises")
            return part
        where, last = looks[-1]
        interval = interval_of([each.interval for _, each in looks if each.interval is not None])
        if interval is None:
            part.unseen.append("its advertising interval (this radio does not tell it); the twin has 100 ms")
        else:
            part.put(
                "interval", seconds(interval), f"{where}: {last.interval:.4g} s between two, without their random delay"
            )
        if last.connectable is False:
            part.put("connectable", False, where)
        self._payloads(part)
        away = self._found.again_after
        if away and interval is not None and median(away) > 2 * interval:
            part.put(
                "again_after",
                seconds(max(0.001, min(away) - interval / 2)),
                f"heard again {min(away):.3g} s after a link",
            )
        return part

    def _payloads(self, part: Part) -> None:
        seen = [(look.source, look.advertising) for look in self._seen.evidence.looks if look.advertising is not None]
        where, last = seen[-1]
        for key, name in (("data", "payload"), ("scan_response", "scan_response")):
            told = [(source, each, getattr(each, name)) for source, each in seen if getattr(each, name)]
            if not told:
                continue
            source, _, octets = told[-1]
            varies = len({octets for *_, octets in told}) > 1
            part.put(
                key,
                data_of(bytes.fromhex(octets)) or {},
                f"{source}{'; it changes, this is the last one' if varies else ''}",
            )
            if varies:
                part.unseen.append(f"how its advertised data change ({key})")
        if "data" not in part.keys:
            data, response = told_by_system(last)
            part.put("data", data, f"{where}; in which packet each part comes is a guess")
            if response:
                part.put("scan_response", response)
            part.unseen.append(
                "the bytes that it advertises, and what is in its scan response (this radio does not tell them)"
            )
        elif "scan_response" not in part.keys:
            part.unseen.append("a scan response: none was heard")

    def _level(self, made: Part) -> None:
        levels = self._seen.levels
        if not levels:
            made.unseen.append("its level")
            return
        keys = {"mean": _dbm(fmean(levels), "dBm")}
        if len(levels) > 2 and stdev(levels) >= 0.1:
            keys["spread"] = _dbm(stdev(levels), "dB")
        else:
            made.unseen.append("how its level spreads")
        made.put(
            "rssi", keys, f"{counted(len(levels), 'level')}, {min(levels):g} to {max(levels):g} dBm, at this station"
        )

    def _mtu(self, made: Part) -> None:
        told = [look.payload for look in self._seen.evidence.looks if look.payload]
        if told:
            made.put("mtu", max(told) + 3, f"{max(told)} bytes in a packet at this station; it may offer more")

    # --- what it does

    def _services(self) -> list[Part]:
        parts = self._table.services()
        characteristics = [
            (place, each) for place, each in self._seen.attributes() if isinstance(each, CharacteristicSeen)
        ]
        inner: list[tuple[Part, int]] = [
            (part, index) for part in parts for index in range(len(part.keys.get("characteristics", [])))
        ]
        needs = needs_of(self._seen)
        for (place, seen), (service, index) in zip(characteristics, inner, strict=True):
            more = Part()
            self._conduct.writes(more, place, seen)
            self._conduct.state(more, place)
            _merge(more, needs.get(place, Part()))
            self._guard_descriptors(service.keys["characteristics"][index], place, needs)
            keys = service.keys["characteristics"][index]
            keys |= {key: value for key, value in more.keys.items() if key != "start"}
            if "start" in more.keys:
                keys["value"] = more.keys["start"]
            service.comments |= {("characteristics", index, *path): text for path, text in more.comments.items()}
            service.unseen += more.unseen
        return parts

    def _guard_descriptors(self, keys: dict[str, Any], place: Place, needs: Mapping[Place, Part]) -> None:
        inner = [other for other, each in self._seen.attributes() if other.outer == place and each.uuid != CCCD]
        for descriptor, made in zip(inner, keys.get("descriptors", []), strict=False):
            made |= needs.get(descriptor, Part()).keys

    # --- what was not seen

    def _access(self, made: Part) -> None:
        """Generic access comes by itself where it is as usual, and where nobody saw it."""
        first = self._seen.services[0] if self._seen.services else None
        if not any(service.uuid == GENERIC_ACCESS for service in self._seen.services):
            if self._seen.evidence.hides:
                made.unseen.append("generic access (this radio hides it); the twin has the usual one")
            else:
                made.put("generic_access", False, "the device has none")
        elif first is not None and _is_usual(first, made.keys):
            made.keys["services"] = made.keys["services"][1:]
            made.comments = dict(_without_first(made.comments))

    def _general(self) -> list[str]:
        evidence = self._seen.evidence
        made = [f"{self._name(place)}: left out, {why}" for place, why in evidence.left_out.items()]
        handles = [each.handle for _, each in self._seen.attributes()]
        if handles:
            made.append(
                f"its handles, 0x{min(handles):04X} to 0x{max(handles):04X}: those of the twin follow one another"
            )
        took = [look.connect for look in evidence.looks if look.connect is not None]
        if took:
            made.append(
                f"what makes connecting slow: it took {median(took):.3g} s here, the twin takes what the air takes"
            )
        made.append("requests that a bench does not send, values over many links, and what time or wear does")
        return made

    def _name(self, place: Place) -> str:
        return self._table.name(place)


def _is_usual(service: ServiceSeen, keys: dict[str, Any]) -> bool:
    """Whether the service is what every device file has unsaid."""
    alone = _read({key: value for key, value in keys.items() if key in ("device", "advertising")})
    usual = [(str(one.characteristic), one.properties, bytes(one.raw or b"")) for one in alone.table[0].characteristics]
    seen = [
        (one.uuid, one.properties, one.content.data if one.content and not one.descriptors else None)
        for one in service.characteristics
    ]
    return service.uuid == GENERIC_ACCESS and seen == usual


def _without_first(comments: dict[Path, str]) -> Iterator[tuple[Path, str]]:
    """Those of the services behind the first, which is gone."""
    for path, text in comments.items():
        if path[0] != "services" or len(path) == 1:
            yield path, text
        elif isinstance(path[1], int) and path[1] > 0:
            yield ("services", path[1] - 1, *path[2:]), text


def _dbm(number: float, unit: str) -> Bare:
    return Bare(f"{decimal_text(exact(round(number, 1)))} {unit}")


def _into(made: Part, key: str, inner: Part) -> None:
    if inner.keys:
        made.keys[key] = inner.keys
        made.comments |= {(key, *path): text for path, text in inner.comments.items()}
    made.unseen += inner.unseen


def _merge(made: Part, other: Part) -> None:
    made.keys |= other.keys
    made.comments |= other.comments
    made.unseen += other.unseen
