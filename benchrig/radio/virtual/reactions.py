"""Reactions at work: what the doings of a device file (reaction_spec.py) set off when their occasion comes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from benchrig.radio.virtual.effects import Effect, effects_of
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec
from benchrig.radio.virtual.makers import TEXT, Aim, Happening, Maker, Scope, Stage, fixed_octets, maker_of
from benchrig.radio.virtual.reaction_spec import DoingSpec, MatchSpec
from benchrig.radio.virtual.value_reading import at
from benchrig.source.shape import Misfit
from benchrig.values.pattern import captured
from benchrig.values.text import TextFormat


class Performer(Stage, Protocol):
    """The device of a reaction."""

    def print(self, line: str) -> None: ...

    def enter(self, text: str) -> None: ...

    def later(self, reaction: Reaction, happening: Happening) -> None: ...


@dataclass
class Reaction:
    """`then` follows it, of `cases` the first that fits happens too. `times` counts how often it happened."""

    spec: Any
    effects: list[Effect]
    line: Maker | None
    entry: Maker | None
    then: list[Reaction]
    cases: list[Case]
    times: int = field(default=0, init=False)

    def case(self, happening: Happening) -> tuple[Case, Happening] | None:
        """The one that fits, and what its pattern has found."""
        for case in self.cases:
            if (found := case.fitting(happening)) is not None:
                case.times += 1
                return case, found
        return None

    def happen(self, performer: Performer, happening: Happening) -> None:
        """Raises Unfit."""
        for effect in self.effects:
            effect.apply(happening)
        if self.line:
            performer.print(self.line(happening).decode())
        if self.entry:
            performer.enter(self.entry(happening).decode())
        for one in self.then:
            performer.later(one, happening)


@dataclass
class Case(Reaction):
    """A reaction to occasions of one kind. `conditions`: what has to be there, and the octets."""

    conditions: list[tuple[Aim, bytes]] = field(default_factory=list)
    is_text: bool = False
    tried: int = field(default=0, init=False)

    def fitting(self, happening: Happening) -> Happening | None:
        """The occasion with the groups of the pattern; None when it does not fit."""
        groups = self._groups(happening.written)
        if groups is None or any(aim.current(happening) != octets for aim, octets in self.conditions):
            return None
        self.tried += 1
        return None if self.tried % self.spec.every else replace(happening, groups=groups)

    def _groups(self, written: bytes) -> dict[str, str] | None:
        starts_with = getattr(self.spec, "starts_with", None)
        if starts_with is not None:
            return {} if written.startswith(starts_with) else None
        if self.spec.matches is None:
            return {}
        text = written.decode("utf-8", "replace") if self.is_text else written.hex().upper()
        return captured(self.spec.matches, text)


class Building:
    """Reactions of specifications. What is wrong goes to `found`, with its place, when that is there; else it is raised.
    `asks`: the device asks its user for something."""

    def __init__(
        self, named: Mapping[str, CharacteristicSpec], found: list[Misfit] | None = None, *, asks: bool = True
    ) -> None:
        self._named, self._found, self._asks = named, found, asks

    def reaction(
        self, spec: DoingSpec, path: tuple[str | int, ...], *, of: CharacteristicSpec | None = None
    ) -> Reaction:
        """`of`: the characteristic that is written."""
        is_text = spec.is_text or (of is not None and isinstance(of.format, TextFormat))
        scope = Scope(self._named, tuple(spec.groups), is_text=is_text)
        cases = [self._case(one, scope, (*path, "cases", index)) for index, one in enumerate(spec.alternatives)]
        return Reaction(spec, *self._parts(spec, scope, path), cases)

    def reactions(self, specs: Sequence[DoingSpec], path: tuple[str | int, ...]) -> list[Reaction]:
        """The actions of an occasion without octets."""
        return [self.reaction(spec, (*path, index)) for index, spec in enumerate(specs)]

    def lines(self, specs: Sequence[MatchSpec], path: tuple[str | int, ...]) -> list[Case]:
        """What lines of the console set off."""
        scope = Scope(self._named, is_text=True)
        return [self._case(spec, scope, (*path, index)) for index, spec in enumerate(specs)]

    def _case(self, spec: MatchSpec, scope: Scope, path: tuple[str | int, ...]) -> Case:
        inner = replace(scope, groups=tuple(spec.groups))
        conditions = [*self._conditions(spec.only_if, scope, (*path, "only_if"))]
        return Case(spec, *self._parts(spec, inner, path), [], conditions, scope.is_text)

    def _parts(
        self, spec: DoingSpec, scope: Scope, path: tuple[str | int, ...]
    ) -> tuple[list[Effect], Maker | None, Maker | None, list[Reaction]]:
        effects = []
        for place, effect in effects_of({"set": spec.set, "notify": spec.notify}, scope):
            if isinstance(effect, Misfit):
                self._wrong(effect, (*path, *place))
            else:
                effects.append(effect)
        then = [
            Reaction(one, *self._parts(one, scope, (*path, "then", index)), [])
            for index, one in enumerate(spec.following)
        ]
        line = self._text(spec.print, scope, (*path, "print"))
        return effects, line, self._entry(spec.enter, scope, (*path, "enter")), then

    def _entry(self, text: str | None, scope: Scope, path: tuple[str | int, ...]) -> Maker | None:
        if text is not None and not self._asks:
            advice = "write security: {capability: keyboard}, or compare: ask"
            self._wrong(Misfit("this device never asks its user for anything", advice), path)
        return self._text(text, scope, path)

    def _text(self, text: str | None, scope: Scope, path: tuple[str | int, ...]) -> Maker | None:
        try:
            return None if text is None else maker_of(text, TEXT, scope)
        except Misfit as misfit:
            self._wrong(misfit, path)
            return None

    def _conditions(
        self, only_if: Mapping[str, Any], scope: Scope, path: tuple[str | int, ...]
    ) -> Iterator[tuple[Aim, bytes]]:
        for name, value in only_if.items():
            try:
                aim: Aim = at(name, scope.aim, name)
                yield aim, at(name, fixed_octets, value, aim.format)
            except Misfit as misfit:
                self._wrong(misfit, path)

    def _wrong(self, misfit: Misfit, path: tuple[str | int, ...]) -> None:
        located = Misfit(misfit.message, misfit.advice, (*path, *misfit.path))
        if self._found is None:
            raise located
        self._found.append(located)


def misfits_of(one: CharacteristicSpec, named: Mapping[str, CharacteristicSpec], *, asks: bool) -> Iterable[Misfit]:
    """What is wrong with the reactions of a characteristic to writes."""
    found: list[Misfit] = []
    Building(named, found, asks=asks).reaction(one.on_write, ("on_write",), of=one)
    return found
