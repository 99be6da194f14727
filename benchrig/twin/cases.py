"""What followed writes -> the cases of a device file.

A write is known by all its bytes: what other bytes would do was not seen.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from benchrig.desk.paths import Place
from benchrig.radio.virtual.makers import literal
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.twin.reactions import Change, Occasion
from benchrig.twin.story import Act, Answer
from benchrig.twin.timing import roundest
from benchrig.twin.values import constant
from benchrig.values.base import Format
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import exact
from benchrig.values.text import TextFormat

# An answer that comes later than this is late by itself, not by its way over the air.
_LATE = 0.15
# A number that has risen by no more is taken for one that counts.
_MOST_RISE = 10
# A unit that says nothing any more; one that was told to start again mostly does not.
_RESTARTS = frozenset({"connection timeout", ""})
_SUPERVISION = 0.72


@dataclass
class Wording:
    """How a device file calls an attribute, and what its bytes mean."""

    name: Callable[[Place], str]
    form: Callable[[Place], Format | None]

    def value(self, place: Place, data: bytes) -> Any:
        """In an effect: the value, or bytes as hex text."""
        return constant(self.form(place), data).get("value")

    def states(self, change: Change) -> Any:
        """One value, or several one after the other."""
        values = [(at, self.value(change.place, data)) for at, data in change.seen]
        if any(value is None for _, value in values):
            return None
        if len(values) == 1:
            return values[0][1]
        ends = [at for at, _ in values[1:]]
        lasts = [end - begin for begin, end in zip([0.0, *ends], ends, strict=False)]
        timed = [{"value": value, "for": seconds(last)} for (_, value), last in zip(values, lasts, strict=False)]
        return {"states": [*timed, {"value": values[-1][1]}]}


def seconds(number: float) -> Bare:
    """A time as people write it."""
    made = max(0.001, roundest(number, number / 100))
    text = decimal_text(exact(made * 1000 if made < 1 else made)) or "1"
    return Bare(f"{text} {'ms' if made < 1 else 's'}")


@dataclass(frozen=True)
class Case:
    """One case of a write, where it is from, and what was guessed of it."""

    keys: dict[str, Any]
    says: str


def cases_of(occasions: Sequence[Occasion], words: Wording) -> Iterator[Case]:
    """The cases of one attribute, each for all bytes of one write."""
    by_bytes: dict[bytes, list[Occasion]] = {}
    for each in occasions:
        by_bytes.setdefault(each.act.data or b"", []).append(each)
    for data, same in by_bytes.items():
        place = same[0].act.place
        assert place is not None
        yield from _of_bytes(place, data, same, words)


def _of_bytes(place: Place, data: bytes, same: Sequence[Occasion], words: Wording) -> Iterator[Case]:
    groups: dict[tuple[Any, ...], list[Occasion]] = {}
    for each in same:
        groups.setdefault(each.outcome, []).append(each)
    known = {"matches": _pattern(data, words.form(place))}
    if len(groups) == 1:
        yield _case(known, same, words)
        return
    telling = _telling([*groups.values()])
    if telling is None:
        yield _in_turn(known, same, words)
        return
    for group in groups.values():
        value = words.value(telling, group[0].before[telling])
        yield _case(known | {"only_if": {words.name(telling): value}}, group, words)


def _pattern(data: bytes, form: Format | None) -> str:
    """That just these bytes match."""
    if isinstance(form, TextFormat):
        return re.escape(data.decode("utf-8", "replace"))
    return Quoted(data.hex().upper())


def _telling(groups: Sequence[Sequence[Occasion]]) -> Place | None:
    """An attribute whose value before tells these outcomes apart."""
    places = set.intersection(*(set(each.before) for group in groups for each in group))
    for place in sorted(places, key=lambda place: place.parts):
        values = [{each.before[place] for each in group} for group in groups]
        if sum(map(len, values)) == len(groups) == len(set.union(*values)):
            return place
    return None


def _case(known: Mapping[str, Any], group: Sequence[Occasion], words: Wording) -> Case:
    """What was seen of all of them together, in the words of the first that shows it."""
    first = group[0]
    keys: dict[str, Any] = dict(known)
    if first.act.error:
        keys["att_error"] = first.act.error
        return Case(keys, first.act.where)
    answers = {words.name(place): _answers(sent, words) for place, sent in _by_place(first.act.answers).items()}
    late = min((each.after for each in first.act.answers), default=0.0)
    sets = _sets(group, words)
    lines = next((each.lines for each in group if each.lines), [])
    forgets = any(each.forgets for each in group)
    keys |= {"silent": True} if first.act.unanswered else {}
    keys |= {"set": sets} if sets else {}
    if answers and late <= _LATE:
        keys["notify"] = answers
    if lines:
        keys["print"] = lines[0][1]
    if forgets:
        keys["delete_bonds"] = True
    then = [{"delay": seconds(late - _LATE / 5), "notify": answers}] if answers and late > _LATE else []
    then += _ends(group)
    if then:
        keys["then"] = then
    return Case(keys, f"{first.act.where}{_times(group)}{_guesses(group, sets, words)}")


def _times(group: Sequence[Occasion]) -> str:
    return f", {len(group)} times" if len(group) > 1 else ""


def _guesses(group: Sequence[Occasion], sets: Mapping[str, Any], words: Wording) -> str:
    """What may be due to another write."""
    changes = [change for each in group for change in each.changes.values()]
    certain = {words.name(change.place) for change in changes if not change.is_guess}
    names = [name for name in sets if name not in certain]
    return f"; {', '.join(names)}: a guess, there were other writes before the read" if names else ""


def _sets(group: Sequence[Occasion], words: Wording) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for occasion in sorted(group, key=lambda each: -sum(len(change.seen) for change in each.changes.values())):
        for place, change in occasion.changes.items():
            value = words.states(change)
            if value is not None and words.name(place) not in made:
                made[words.name(place)] = literal(value) if isinstance(value, str) else value
    return made


def _by_place(answers: Sequence[Answer]) -> dict[Place, list[Answer]]:
    made: dict[Place, list[Answer]] = {}
    for each in answers:
        made.setdefault(each.place, []).append(each)
    return made


def _answers(sent: Sequence[Answer], words: Wording) -> Any:
    """One, or several one after the other."""
    if len(sent) == 1:
        return _answer(sent[0], words)
    every = (sent[-1].after - sent[0].after) / (len(sent) - 1)
    return {"several": [_answer(each, words) for each in sent]} | ({"every": seconds(every)} if every else {})


def _answer(answer: Answer, words: Wording) -> Any:
    value = words.value(answer.place, answer.data)
    if not answer.skip and not answer.last:
        told = literal(value) if isinstance(value, str) else value
        return told if told is not None else Quoted(answer.data.hex(" ").upper())
    last = answer.last.ljust(answer.skip, b"\0")[: max(answer.skip, 1)]
    header = bytes(0x00 if octet else 0x01 for octet in last)
    data = answer.data if answer.skip else answer.data[len(last) :] if answer.data.startswith(last) else answer.data
    pieces = {"pieces": Quoted(data.hex(" ").upper())}
    return pieces | {"header": Quoted(header.hex(" ").upper()), "last": Quoted(last.hex(" ").upper())}


def _ends(group: Sequence[Occasion]) -> list[dict[str, Any]]:
    """How the link ended, or the device started again."""
    for each in group:
        if each.restart is not None:
            return [_restart(each, each.restart)]
        if each.act.lost_after is not None:
            keys: dict[str, Any] = {"delay": seconds(each.act.lost_after)}
            if each.act.lost_reason in _RESTARTS:
                return [{"delay": seconds(max(0.0, each.act.lost_after - _SUPERVISION)), "reboot": seconds(1.0)}]
            return [keys | ({"sleep": "for good"} if each.silent else {}) | {"disconnect": True}]
    return []


def _restart(occasion: Occasion, restart: Act) -> dict[str, Any]:
    """A device that falls silent is missed after the supervision time-out only."""
    silent_since = restart.at - (_SUPERVISION if restart.lost_reason in _RESTARTS else 0.0)
    delay = max(0.0, silent_since - occasion.act.at)
    away = max(0.1, (restart.away or restart.at + 1.0) - silent_since)
    return {"delay": seconds(delay), "reboot": seconds(away)}


def _in_turn(known: Mapping[str, Any], same: Sequence[Occasion], words: Wording) -> Case:
    """The same bytes had several answers, and nothing shows why: one after the other."""
    answered = [each for each in same if each.act.answers]
    made = _case(known, answered or same, words)
    names = {words.name(each.place) for one in answered for each in one.act.answers}
    if len(names) == 1 and (name := names.pop()) in made.keys.get("notify", {}):
        values = [_answer(one.act.answers[0], words) for one in answered]
        if not any(isinstance(value, dict) for value in values):
            made.keys["notify"] = {name: {"sequence": values}}
    return Case(made.keys, f"{made.says}; answered differently, nothing shows why: one after the other (guess)")


def added(before: bytes, after: bytes, form: Format | None) -> int | None:
    """By how much a whole number has risen; None for anything else."""
    if not isinstance(form, IntegerFormat) or form.unit:
        return None
    numbers = form.decode(before), form.decode(after)
    if not all(isinstance(number, (int, float)) for number in numbers):
        return None
    step = int(numbers[1]) - int(numbers[0])  # type: ignore[arg-type]
    return step if 0 < step <= _MOST_RISE else None
