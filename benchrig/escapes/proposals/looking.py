"""Steps that look once more, or closer: at what moves, at what stays, at handles, at what every device has."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen, ServiceSeen
from benchrig.draft.evidence import HIDDEN
from benchrig.draft.streams import counting
from benchrig.escapes.proposals.attributes import Attributes, Subject
from benchrig.escapes.proposals.candidate import A_TIME, SHOWS_ALL, SOME_NAMES, Candidate, a_rate
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.identity import tells_unit
from benchrig.escapes.proposals.narrowing import STREAM_ROOM
from benchrig.plan.wording import service_name
from benchrig.plan.writing import Rows, StepText
from benchrig.source.writing import Bare, Quoted
from benchrig.steps.discover import PROPERTIES
from benchrig.values.catalogue import name_of
from benchrig.values.quantity import exact

# Noise of some steps is alike in so many values once in a thousand devices or less.
_LOOKS = 8
_FEW = 4
# So many values of a stream are heard, of a fast one so many that one in a hundred is among them; most of them come.
_SOME, _MANY, _FAST, _MOST = 6, 110, 0.5, 0.9
# What comes so soon after unsubscribing was under way.
_UNDER_WAY = 1.0
# The rate of what is heard for long is that of a clock (Core Vol 6 Part B 4.2: 500 ppm at most), but for what the air holds
# back at one of its ends: three intervals of a link (common practice is 15 ms to 50 ms). Where nothing is said of units,
# half a percent is usual.
_CLOCK, _USUAL, _HELD = Fraction(1, 2000), Fraction(1, 200), Fraction(15, 100)
_SENT = "all that is sent"
# Units of what differs from the unit of a difference.
_DIFFERENCES = {"°C": "ΔK", "K": "ΔK", "dBm": "dB"}
_TELLS_UNASKED = "a radio that hands on what nobody has subscribed to (hci, virtual)"


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    yield from _moving(attributes)
    yield from _unasked(_sending(attributes))
    yield from _once_more(attributes)
    yield from _handles(attributes)
    yield from _everywhere(attributes)


def all_sent(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """All that is sent, at once and for longer than a draft hears it: a stream that stops early, is slow or has gaps.
    It comes first: what happens to one of the first values alone is gone when each stream has been heard by itself."""
    heard = _sending(attributes)
    if not heard:
        return
    seconds = math.ceil(max(gap * (_MANY if gap < _FAST else _SOME) for _, gap in heard.values())) + 1
    waits = StepText("wait", Bare(f"{seconds} s"), {"name": "all of it"})
    step = StepText("listen", _streams(heard), {"name": _SENT}, parts={"steps": [waits]})
    for name, (subject, gap) in heard.items():
        step.hold(f"{name}.count", {"min": Bare(str(max(1, math.floor(seconds / gap * _MOST) - 2)))})
        step.hold(f"{name}.rate", a_rate(_rate_room(ground, subject, seconds)))
        step.hold(f"{name}.first_after", A_TIME)
        step.hold(f"{name}.gap_max", A_TIME)
        step.hold(f"{name}.gap_p95", A_TIME)
        if counting(subject.seen):
            step.hold(f"{name}.lost", {"equals": Bare("0")})
            step.hold(f"{name}.duplicated", {"equals": Bare("0")})
    why = "a stream that stops later, or has gaps now and then, is not noticed"
    yield Candidate("look", _SENT, why, [step], early=True)


def _moving(attributes: Attributes) -> Iterator[Candidate]:
    """What has noise is not the same each time: neither where it is read nor where it is sent."""
    for subject in attributes.subjects:
        values = [value for each in subject.seen.values().values() for value in each]
        for field in _noisy(values) if len(values) > 1 else ():
            yield _varies(subject, "read", field)
        sent = [subject.seen.decode(data) for stream in subject.seen.streams for data in stream.values]
        for field in _noisy(sent):
            yield _varies(subject, "notify", field)


def _sending(attributes: Attributes) -> dict[str, tuple[Subject, float]]:
    """What sends by itself, with the mean time between two values."""
    return {each.name: (each, gap) for each in attributes.subjects if (gap := _gap(each))}


def _streams(heard: Mapping[str, tuple[Subject, float]]) -> dict[str, Any]:
    return {name: _heard(subject) for name, (subject, _) in heard.items()}


def _rate_room(ground: Ground, subject: Subject, seconds: int) -> Fraction:
    """By what share the rate of a good unit may be off that is heard for so long; values may be late by their jitter."""
    says = subject.spec.notify if subject.spec is not None else None
    late = _HELD + (exact(says.jitter.seconds) if says is not None else 0)
    return min(STREAM_ROOM, _apart(ground) + late / seconds)


def _apart(ground: Ground) -> Fraction:
    """By what share good units send faster or slower."""
    says = ground.spread.spread if ground.spread is not None else None
    if says is None:
        return _CLOCK + _USUAL
    shares = (exact(each.part) for each in (says.clock, says.notifying) if each is not None)
    return max(_CLOCK, sum(shares, Fraction(0)))


def _unasked(sending: Mapping[str, tuple[Subject, float]]) -> Iterator[Candidate]:
    """Nothing comes when nobody listens any more, and nothing on a link before anybody does."""
    if not sending:
        return
    gap = max(gap for _, gap in sending.values())
    waits = StepText("wait", Bare(f"{math.ceil(gap * 1.5)} s"), {"name": "some of each stream"})
    heard = StepText("listen", _streams(sending), {"name": "streams that end"}, parts={"steps": [waits]})
    steps = [heard, *_silence("after unsubscribing", gap), *_silence("before subscribing", gap)]
    why = "what is sent without a subscription is not noticed"
    yield Candidate("look", "nothing comes unasked", why, steps, needs=_TELLS_UNASKED)


def _silence(when: str, gap: float) -> list[StepText]:
    waits = StepText("wait", Bare(f"{math.ceil(_UNDER_WAY + gap * 2)} s"), {"name": f"nobody listens, {when}"})
    left = StepText("disconnect", None, {"name": f"nothing arrived {when}"})
    left.hold("unasked", {"equals": Bare("0")})
    return [waits, left, StepText("connect", None, {"name": f"connect: silence {when}", "attempts": 3})]


def _gap(subject: Subject) -> float:
    """The mean time between two values; of one that was not heard twice the period that the device file says, 0 for none."""
    gaps = [each.gaps for each in subject.seen.streams if each.gaps is not None and each.gaps.count]
    says = subject.spec.notify if subject.spec is not None else None
    return max((each.mean for each in gaps), default=says.period.seconds if says is not None else 0.0)


def _heard(subject: Subject) -> dict[str, Any]:
    counter = counting(subject.seen)
    return {**({"counter": counter} if counter else {}), **subject.keys}


def _noisy(values: list[Any]) -> list[str]:
    """The readings that differ in all of the values: 'value', or its fields that are numbers and count nothing."""
    rows = [value if isinstance(value, dict) else {"": value} for value in values]
    names = {
        name
        for row in rows
        for name, item in row.items()
        if isinstance(item, (int, float)) and not isinstance(item, bool)
    }
    columns = {name: [row[name] for row in rows if name in row] for name in sorted(names)}
    return [f"value.{name}".rstrip(".") for name, column in columns.items() if _is_noisy(column)]


def _is_noisy(column: list[Any]) -> bool:
    """What only goes up counts; of a few values noise may go up too."""
    return len({*column}) > 1 and (sorted(column) != column or len(column) <= _FEW)


def _varies(subject: Subject, verb: str, reading: str) -> Candidate:
    field = reading.removeprefix("value").removeprefix(".")
    what = f"{subject.seen.name}: {field}" if field else subject.seen.name
    called, once = (
        (f"{what} moves", "read once more") if verb == "read" else (f"{what} moves in the stream", "sent once more")
    )
    keys = {"count": Bare("1")} if verb == "notify" else {}
    inner = subject.step(verb, f"{subject.seen.name} {once}", **keys)
    step = StepText("repeat", Bare(str(_LOOKS)), {"name": called}, parts={"steps": [inner]})
    unit = _unit(subject, reading)
    step.hold(f"{inner.keys['name']}.{reading}.spread", {"above": Bare(f"0 {unit}".rstrip())})
    return Candidate("look", called, "a value that is stuck passes any limit that it is within", [step])


def _unit(subject: Subject, reading: str) -> str:
    """The unit of a spread, which is a difference."""
    form: Any = subject.seen.form
    leaves = form.leaves() or {"": form}
    leaf: Any = leaves.get(reading.removeprefix("value").removeprefix("."), form)
    return _DIFFERENCES.get(str(leaf.unit), str(leaf.unit))


def _once_more(attributes: Attributes) -> Iterator[Candidate]:
    """At the end all that is constant is read again."""
    limits = {step.subject: step.expect for step in attributes.steps() if step.verb == "read"}
    why = "what is right only once, or is spoiled by what the plan does, passes"
    for subject in attributes.subjects:
        name = f"{subject.seen.name} once more"
        step = subject.step("read", name)
        step.expect = {key: item for key, item in limits.get(subject.name, {}).items() if key.startswith("value")}
        step = step if subject.value is None else subject.reading(name, subject.value)
        if step.expect:
            yield Candidate("look", name, why, [step])


def _handles(attributes: Attributes) -> Iterator[Candidate]:
    """A phone that has paired keeps the handles: they are the same in each unit of a firmware."""
    known = {each.seen.handle: each for each in attributes.subjects if each.value is not None}
    for handle, subject in known.items():
        name = f"{subject.seen.name} is at its handle"
        step = StepText("read", Bare(f"handle 0x{handle:04X}"), {"name": name, "format": {"as": "hex"}})
        step.hold("raw", {"equals": Quoted((subject.value or b"").hex(" ").upper())})
        why = "who has paired keeps the handles, and uses another attribute where they have moved"
        yield Candidate("look", name, why, [step])


def _everywhere(attributes: Attributes) -> Iterator[Candidate]:
    """The services that every device has, which no draft lists: an operating system hides them."""
    hidden = [each for each in attributes.services if each.uuid in HIDDEN]
    rows = Rows({service_name(each.uuid): _rows(each) for each in hidden if each.characteristics})
    if rows:
        step = StepText("discover", None, {"name": "what every device has"})
        step.hold("table", rows)
        step.hold("services", SOME_NAMES)
        why = "generic access and the order of services are not looked at"
        yield Candidate("look", "what every device has", why, [step], needs=SHOWS_ALL)
    for service in hidden:
        for each in service.characteristics:
            name = name_of(each.uuid, "characteristic")
            if name and each.content is not None and not tells_unit(each.content.data):
                step = StepText("read", name, {"name": f"{name} as it is"})
                step.hold("raw", {"equals": Quoted(each.content.data.hex(" ").upper())})
                yield Candidate("look", f"{name} as it is", "nothing reads it", [step], needs=SHOWS_ALL)


def _rows(service: ServiceSeen) -> dict[str, list[str]]:
    return {
        name_of(each.uuid, "characteristic") or each.uuid: _properties(each) for each in service.characteristics
    }  # fmt: skip


def _properties(seen: CharacteristicSeen) -> list[str]:
    return [name for name in PROPERTIES if name in seen.properties]
