"""The values that an occasion puts into characteristics, or sends.

set: {status: 1}                          a value, or the next one of a generator
set: {status: {states: […]}}              what changes with the time begins now
set: {settings.limit: 25 km/h}            a field of a structure; the others stay as they are
set: {openings: {add: 1}}                 more than there is; also of the number in a text. {add: length}: the bytes written
notify: {echo: written}                   the bytes that were written
notify: {answer: '83 {page} {openings}'}  a group of the pattern, the value of a characteristic
notify: {answer: {several: ['01', 'FF'], every: 20 ms}}
notify: {answer: {timed: {50 ms: '01', 1 s: ['02', '03']}}}
notify: {answer: {pieces: '{log}', size: 20, header: '01', last: 'FF', crc: CRC-16/XMODEM}}
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from benchrig.radio.virtual.gatt_spec import LONGEST_VALUE, UPDATES, bounded, read_source
from benchrig.radio.virtual.makers import Aim, Happening, Maker, Scope, maker_of
from benchrig.radio.virtual.sources import Source
from benchrig.radio.virtual.value_reading import arguments_of, at
from benchrig.source.shape import Misfit, octets
from benchrig.values.crc import Crc
from benchrig.values.quantity import Duration
from benchrig.values.text import BytesFormat

LONGEST_ANSWER = 65536


class Effect(ABC):
    @abstractmethod
    def apply(self, happening: Happening) -> None:
        """Raises Unfit."""


@dataclass(frozen=True)
class Put(Effect):
    aim: Aim
    make: Maker
    notify: bool

    def apply(self, happening: Happening) -> None:
        target = self.aim.target(happening)
        target.put(self.make(happening)[:LONGEST_VALUE], self.aim.field)
        if self.notify:
            target.send_current()


@dataclass(frozen=True)
class Begin(Effect):
    """A value that changes with the time, from now on."""

    aim: Aim
    source: Source
    notify: bool

    def apply(self, happening: Happening) -> None:
        target, source = self.aim.target(happening), self.source.fresh()
        target.follow(source, self.aim.field)
        if self.notify:
            target.send_current()
            target.send_changes(source)


@dataclass(frozen=True)
class Answer(Effect):
    """Several notifications, one after the other."""

    aim: Aim
    every: float
    makers: list[Maker]

    def apply(self, happening: Happening) -> None:
        pieces = [make(happening) for make in self.makers]
        self.aim.target(happening).send_answer(lambda _: pieces, self.every)


@dataclass(frozen=True)
class Timed(Effect):
    """Notifications, each at its own time from now on."""

    aim: Aim
    makers: list[tuple[float, Maker]]

    def apply(self, happening: Happening) -> None:
        values = [(after, make(happening)) for after, make in self.makers]
        self.aim.target(happening).send_timed(values)


@dataclass(frozen=True)
class Pieces(Effect):
    """One long answer in pieces of one size, each with a header."""

    aim: Aim
    every: float
    make: Maker
    size: int | None
    header: bytes
    last: bytes
    crc: Crc | None

    def apply(self, happening: Happening) -> None:
        answer = self.make(happening)[:LONGEST_ANSWER]
        if self.crc:
            answer += self.crc.of(answer)
        self.aim.target(happening).send_answer(lambda payload: self._cut(answer, payload), self.every)

    def _cut(self, answer: bytes, payload: int) -> list[bytes]:
        size = max(1, min(self.size or payload, payload) - len(self.header))
        parts = [answer[start : start + size] for start in range(0, len(answer), size)] or [b""]
        return [*(self.header + part for part in parts[:-1]), self.last + parts[-1]]


def effects_of(
    doing: Mapping[str, Mapping[str, Any]], scope: Scope
) -> Iterable[tuple[tuple[str, str], Effect | Misfit]]:
    """The effects of `set` and `notify`, each with its place, or what is wrong with it."""
    for key, values in doing.items():
        for name, value in values.items():
            try:
                yield (key, name), _effect(name, value, scope, notify=key == "notify")
            except Misfit as misfit:
                yield (key, name), misfit


def _effect(name: str, value: Any, scope: Scope, *, notify: bool) -> Effect:
    aim = scope.aim(name)
    if notify and not scope.named[aim.characteristic].property_bits & UPDATES:
        raise Misfit(f"'{aim.characteristic}' has neither notify nor indicate among its properties")
    is_structure = bool(aim.format and aim.format.leaves())
    if notify and isinstance(value, dict) and not is_structure and value.keys() & ANSWERS.keys():
        word = next(iter(value.keys() & ANSWERS.keys()))
        return ANSWERS[word](value, aim, scope)
    if isinstance(value, dict) and (source := _running(value, aim)):
        return Begin(aim, source, notify)
    return Put(aim, maker_of(value, aim.format, scope, aim), notify)


def _running(value: dict[Any, Any], aim: Aim) -> Source | None:
    if value.keys() == {"add"} and not (aim.format and aim.format.leaves()):
        return None
    source = bounded(read_source(value, aim.format))
    return source if source.pattern.runs_on else None


def _several(value: Any, aim: Aim, scope: Scope) -> Effect:
    arguments = arguments_of(value, {"several"}, {"every"})
    if not isinstance(arguments["several"], list) or not arguments["several"]:
        raise Misfit("expected a list of values", path=("several",))
    values = enumerate(arguments["several"])
    makers = [at("several", at, index, maker_of, one, aim.format, scope) for index, one in values]
    return Answer(aim, _pace(arguments), makers)


def _pieces(value: Any, aim: Aim, scope: Scope) -> Effect:
    arguments = arguments_of(value, {"pieces"}, {"every", "size", "header", "last", "crc"})
    make = at("pieces", maker_of, arguments["pieces"], BytesFormat(), scope)
    header = at("header", octets, arguments.get("header", ""))
    last = at("last", octets, arguments["last"]) if "last" in arguments else header
    if len(last) != len(header):
        raise Misfit("'header' and 'last' have as many bytes", path=("last",))
    size = arguments.get("size")
    if size is not None and (isinstance(size, bool) or not isinstance(size, int) or size <= len(header)):
        raise Misfit("a piece is longer than its header", "for example: size: 20", ("size",))
    crc = at("crc", Crc.from_source, arguments["crc"]) if "crc" in arguments else None
    return Pieces(aim, _pace(arguments), make, size, header, last, crc)


def _timed(value: Any, aim: Aim, scope: Scope) -> Effect:
    given = arguments_of(value, {"timed"})["timed"]
    if not isinstance(given, dict) or not given:
        raise Misfit("expected times with their values", "for example: timed: {50 ms: '01', 100 ms: '02'}", ("timed",))
    makers: list[tuple[float, Maker]] = []
    for time, values in given.items():
        after = at("timed", at, time, Duration.from_source, time).seconds
        several = values if isinstance(values, list) else [values]
        makers += [(after, at("timed", at, time, maker_of, one, aim.format, scope)) for one in several]
    return Timed(aim, sorted(makers, key=lambda maker: maker[0]))


def _pace(arguments: dict[Any, Any]) -> float:
    every: float = at("every", Duration.from_source, arguments["every"]).seconds if "every" in arguments else 0.0
    if every < 0:
        raise Misfit("a pace is not negative", path=("every",))
    return every


ANSWERS: dict[str, Callable[[Any, Aim, Scope], Effect]] = {
    "several": _several,
    "timed": _timed,
    "pieces": _pieces,
}
