"""What a device file says about occasions: reads, writes, connections, lines of the console.

on_write:
  set: {status: 1, settings.limit: written, openings: {add: 1}}   values, see effects.py
  notify: {answer: {pieces: '{log}', header: '01', last: 'FF'}}    the same, and sent to subscribers
  print: 'limit {written}'               a line on the console of the unit
  enter: '{code}'                        a passkey that somebody types on it, or his answer to a comparison
  then: [{delay: 3 s, set: {status: 0}}] what follows
  cases:                                 the first one that fits happens as well
    - {starts_with: '02', notify: {answer: '82 00'}}
    - {matches: '03(?P<page>..)', only_if: {lock: open}, notify: {answer: '83 {page}'}}
    - {every: 3, disconnect: true}

unasked:
  - {after: {subscribe: log stream, number: 2}, notify: {log stream: {timed: {50 ms: '01'}}}}

on_read, on_write, on_notify and on_request take what happens at some times alone:

on_read: {sometimes: [{from: 3, every: 2, times: 1, delay: 2 s}, {share: 1 %, silent: true}]}

The texts of `then` and of on_start, on_connect, on_disconnect are those of an ActionSpec.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, ClassVar

import msgspec

from benchrig.radio.virtual.behaviour import On
from benchrig.radio.virtual.block import Block
from benchrig.radio.virtual.words import Hex
from benchrig.source.shape import Misfit
from benchrig.values.pattern import Regex, group_names

# What an occasion fills in: the passkey on the display, or the number to compare
SHOWN = "number"


class DoingSpec(Block, frozen=True, kw_only=True):
    """What an occasion sets off beside its behaviours."""

    occasions: ClassVar[frozenset[On]] = frozenset()
    has_times: ClassVar[bool] = False  # what happens now and then is a case
    is_text: ClassVar[bool] = False  # what it brings is text, not bytes in hex digits

    set: dict[str, Any] = msgspec.field(default_factory=dict)
    notify: dict[str, Any] = msgspec.field(default_factory=dict)
    print: str | None = None
    enter: str | None = None

    @property
    def following(self) -> list[ActionSpec]:
        return []

    @property
    def alternatives(self) -> Sequence[MatchSpec]:
        return []

    @property
    def groups(self) -> list[str]:
        """The names that the occasion itself brings."""
        return []


class ActionSpec(DoingSpec, frozen=True, kw_only=True):
    """Something that the device does."""

    occasions = frozenset({On.LATER})

    def misfits(self) -> Iterable[Misfit]:
        does = self.set or self.notify or self.print or self.enter
        if not does and all(one.is_pause for one in self.behaviours):
            yield Misfit("an action without anything to do", "write set, notify, print, disconnect, reboot or sleep")


class DisplaySpec(ActionSpec, frozen=True, kw_only=True):
    """Something that the device does when it shows a number."""

    is_text: ClassVar[bool] = True

    @property
    def groups(self) -> list[str]:
        return [SHOWN]


class OccasionSpec(msgspec.Struct, frozen=True, kw_only=True):
    """Something that a central does: the how manieth time, over the whole run."""

    connect: bool = False
    read: str | None = None
    write: str | None = None
    subscribe: str | None = None
    number: int = 1

    def misfits(self) -> Iterable[Misfit]:
        if len(self._told) != 1:
            advice = "for example: {subscribe: log stream, number: 2}"
            yield Misfit("expected one of connect, read, write and subscribe", advice)
        if self.number < 1:
            yield Misfit(f"expected a number from 1 on, found {self.number}", path=("number",))

    @property
    def _told(self) -> list[tuple[str, str]]:
        named = {"read": self.read, "write": self.write, "subscribe": self.subscribe}
        return [("connect", "")] * self.connect + [(kind, name) for kind, name in named.items() if name is not None]

    @property
    def kind(self) -> str:
        return self._told[0][0]

    @property
    def name(self) -> str:
        """Of the characteristic; '' for a link."""
        return self._told[0][1]


class UnaskedSpec(ActionSpec, frozen=True, kw_only=True):
    """Something that the device does on its own, from the moment of an occasion on."""

    after: OccasionSpec


class MatchSpec(DoingSpec, frozen=True, kw_only=True):
    """What happens when the occasion is of this kind."""

    matches: Regex | None = None
    only_if: dict[str, Any] = msgspec.field(default_factory=dict)
    every: int = 1
    then: list[ActionSpec] = msgspec.field(default_factory=list)

    def misfits(self) -> Iterable[Misfit]:
        if self.every < 1:
            yield Misfit(f"expected a number from 1 on, found {self.every}", path=("every",))

    @property
    def is_any(self) -> bool:
        """Whether it fits each time."""
        return self.matches is None and not self.only_if and self.every == 1

    @property
    def following(self) -> list[ActionSpec]:
        return self.then

    @property
    def groups(self) -> list[str]:
        return group_names(self.matches) if self.matches is not None else []


class CaseSpec(MatchSpec, frozen=True, kw_only=True):
    """What a write does more when it is of this kind."""

    occasions = frozenset({On.WRITE})

    starts_with: Hex | None = None

    @property
    def is_any(self) -> bool:
        return super().is_any and not self.starts_with

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.starts_with is not None and self.matches is not None:
            yield Misfit("'starts_with' and 'matches' exclude each other", "keep one of the two", ("matches",))


def unreachable(cases: Sequence[MatchSpec], key: str) -> Iterable[Misfit]:
    """The first that fits happens: none does after one that fits each time."""
    for index, case in enumerate(cases[:-1]):
        if case.is_any:
            yield Misfit("this one fits each time, so none after it ever happens", "put it last", (key, index))
            return


class LineSpec(MatchSpec, frozen=True, kw_only=True):
    """What a line does that the console receives."""


class ReadSpec(Block, frozen=True, kw_only=True):
    """What a read does."""

    occasions = frozenset({On.READ})


class SendSpec(Block, frozen=True, kw_only=True):
    """What becomes of a value that is sent."""

    occasions = frozenset({On.NOTIFY})


class RequestSpec(Block, frozen=True, kw_only=True):
    """What becomes of an ATT request, whatever it is for."""

    occasions = frozenset({On.REQUEST})


class WriteSpec(DoingSpec, frozen=True, kw_only=True):
    """What a write does."""

    occasions = frozenset({On.WRITE, On.STORE})
    has_times = True

    store: bool = True
    check: bool = True
    then: list[ActionSpec] = msgspec.field(default_factory=list)
    cases: list[CaseSpec] = msgspec.field(default_factory=list)

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        yield from unreachable(self.cases, "cases")

    @property
    def following(self) -> list[ActionSpec]:
        return self.then

    @property
    def alternatives(self) -> Sequence[MatchSpec]:
        return self.cases
