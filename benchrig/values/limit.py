"""Limits: what a reading must satisfy, and the sentence that says whether it does.

A limit is written without knowing the reading; `bind` ties it to the kind and unit of one, which is where wrong
dimensions, bare numbers and inverted ranges are found. Binding happens once a reading, judging once a sample.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import cache, cached_property, lru_cache
from typing import Any, ClassVar

import msgspec

from benchrig.source.shape import Misfit
from benchrig.values.binding import Binder
from benchrig.values.confident import misfits_of, no_evidence, weighed
from benchrig.values.crc import Crc
from benchrig.values.guard import Guard, drawn_in
from benchrig.values.judging import BoundLimit, Judgement, Kind, shown
from benchrig.values.limit_keys import KEYS, AnyValue, Bits, Length, Measure
from benchrig.values.pattern import Regex
from benchrig.values.share import Confidence

_ABSENT: Any = msgspec.UNSET


class Limit(msgspec.Struct, frozen=True, omit_defaults=True, dict=True):  # dict: for the cached property
    """What a reading must satisfy; several keys must all hold."""

    direct: ClassVar[str] = "equals"
    called: ClassVar[str] = "value"
    # fields of a subclass that say something else than what must hold
    beside: ClassVar[frozenset[str]] = frozenset()

    equals: AnyValue = _ABSENT
    differs: AnyValue = _ABSENT
    min: Measure = _ABSENT
    above: Measure = _ABSENT
    max: Measure = _ABSENT
    below: Measure = _ABSENT
    nominal: Measure = _ABSENT
    tolerance: Measure = _ABSENT
    one_of: list[AnyValue] = _ABSENT
    matches: Regex = _ABSENT
    contains: AnyValue = _ABSENT
    lacks: AnyValue = _ABSENT
    bits: Bits = _ABSENT
    crc: Crc = _ABSENT
    length: Length = _ABSENT
    rising: bool = _ABSENT

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong whatever the reading is."""
        if not self.keys():
            yield Misfit("an empty limit", "write at least one of " + ", ".join(self.words()))
        if (self.nominal is _ABSENT) != (self.tolerance is _ABSENT):
            have, need = ("nominal", "tolerance") if self.tolerance is _ABSENT else ("tolerance", "nominal")
            yield Misfit(f"{have} without {need}", f"add {need}", (have,))
        if self.one_of is not _ABSENT and not self.one_of:
            yield Misfit(
                "one_of is empty, so nothing could pass", "write the values that are allowed", path=("one_of",)
            )
        for one, other in (("min", "above"), ("max", "below")):
            if one in self._keys and other in self._keys:
                yield Misfit(f"{one} and {other} bound the same side", "keep one of the two", (other,))
        if self.rising is False:
            yield Misfit("rising: false requires nothing", "write rising: true, or leave it out", ("rising",))

    def keys(self) -> list[str]:
        """The keys that are given, in the order of the language."""
        return self._keys

    @cached_property
    def _keys(self) -> list[str]:  # each limit of a long plan is asked several times
        return [name for name in self.words() if getattr(self, name) is not _ABSENT]

    @property
    def in_words(self) -> str:
        """As it is written, where no kind of reading is known that it could be tied to."""
        return " and ".join(f"{key} {_written(key, getattr(self, key))}".rstrip() for key in self._keys)

    @property
    def needs_samples(self) -> bool:
        """Whether it is about several samples, and one value shows nothing."""
        return any(KEYS[key].needs_samples for key in self._keys)

    @property
    def asks_for_absence(self) -> bool:
        """Whether nothing at all satisfies it."""
        return all(KEYS[key].absence for key in self._keys)

    def named(self) -> list[tuple[tuple[str | int, ...], Any]]:
        """The values that it names, each with where it stands in the limit."""
        single = [((key,), getattr(self, key)) for key in ("equals", "differs") if key in self._keys]
        listed = self.one_of if "one_of" in self._keys else []
        return [*single, *((("one_of", index), value) for index, value in enumerate(listed))]

    @classmethod
    @cache
    def words(cls) -> tuple[str, ...]:
        """All that a limit may have."""
        return tuple(name for name in cls.__struct_fields__ if name not in cls.beside)

    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]:
        """Everything that keeps the limit from applying to readings of one kind and unit."""
        try:
            self.bind(kind, unit)
        except Misfit as whole:
            return self._misfits_of_keys(kind, unit) or [whole]
        return []

    def _misfits_of_keys(self, kind: Kind, unit: str) -> list[Misfit]:
        """What is wrong with each key by itself: `bind` stops at the first."""
        found: list[Misfit] = []
        for key in self.keys():
            pair = {"nominal": ("nominal", "tolerance"), "tolerance": ()}.get(key, (key,))
            try:
                Limit(**{name: getattr(self, name) for name in pair}).bind(kind, unit)
            except Misfit as misfit:
                found.append(misfit)
        return found

    def bind(self, kind: Kind, unit: str = "") -> BoundLimit:
        """The limit for readings of one kind and unit. Raises Misfit when it cannot apply to them."""
        bound = self._bounds.get((kind, unit))
        if bound is None:
            given = tuple((key, type(value), value) for key in self._keys for value in (getattr(self, key),))
            make = _shared if all(of in _PLAIN for _, of, _ in given) else _bound
            bound = self._bounds[kind, unit] = make(given, kind, unit)
        return bound

    @cached_property
    def _bounds(self) -> dict[tuple[Kind, str], BoundLimit]:
        """What has been bound: the check of a plan does it for the run."""
        return {}


def _written(key: str, value: Any) -> str:
    """What is compared by its kind is shown so; a bound is a number, whether its unit makes a text of it or not."""
    if isinstance(value, (msgspec.Struct, bool, dict)):
        return ""
    if isinstance(value, (Length, Crc)):
        return value.words
    return shown(value) if key in ("equals", "differs", "one_of", "contains", "lacks", "matches") else str(value)


class ConfidentLimit(Limit, frozen=True, omit_defaults=True):
    """A limit that may be on what the rounds of a repetition show, not on what they were."""

    beside: ClassVar[frozenset[str]] = frozenset({"confidence"})

    confidence: Confidence | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.confidence is not None:
            yield from misfits_of(self.keys())

    @property
    def in_words(self) -> str:
        return super().in_words + (f" at {self.confidence} confidence" if self.confidence is not None else "")

    def weigh(self, bound: BoundLimit, name: str, value: Any, evidence: Any, place: str) -> Judgement | None:
        """The verdict on what is behind the reading; None where the reading itself is judged. Misfit."""
        if self.confidence is None:
            return None
        if evidence is None:
            raise no_evidence(name)
        return weighed(bound, self.confidence, value, evidence, place)


class GuardedLimit(ConfidentLimit, frozen=True, omit_defaults=True):
    """A limit whose bounds may be drawn in by the uncertainty of the measurement."""

    beside: ClassVar[frozenset[str]] = frozenset({"confidence", "guard"})

    guard: Guard | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.guard is None:
            return
        if not _BOUNDS.intersection(self.keys()):
            yield Misfit("guard without a bound to draw in", "add min, max or nominal", ("guard",))
        if "equals" in self.keys():
            yield Misfit("guard and equals exclude each other", "write min and max", ("guard",))
        if self.confidence is not None:
            message = "guard and confidence exclude each other"
            yield Misfit(message, "keep one: a confidence is on what rounds show", ("guard",))

    @property
    def in_words(self) -> str:
        return super().in_words + (f" and a guard band by {self.guard.rule}" if self.guard is not None else "")

    def bind(self, kind: Kind, unit: str = "") -> BoundLimit:
        """With its acceptance limits. Misfit."""
        if self.guard is None:
            return super().bind(kind, unit)
        bound = self._guarded.get((kind, unit))
        if bound is None:
            bound = self._guarded[kind, unit] = drawn_in(super().bind(kind, unit), self.guard, kind)
        return bound

    @cached_property
    def _guarded(self) -> dict[tuple[Kind, str], BoundLimit]:
        return {}


_BOUNDS = frozenset({"min", "above", "max", "below", "nominal"})


class ReadingLimit(GuardedLimit, frozen=True, omit_defaults=True):
    """A limit on a reading, which may be one for some runs only."""

    called: ClassVar[str] = "reading"
    beside: ClassVar[frozenset[str]] = frozenset({"only_if", "confidence", "guard"})

    only_if: dict[str, Limit] = {}


def _bound(given: tuple[tuple[str, type, Any], ...], kind: Kind, unit: str) -> BoundLimit:
    return Binder({key: value for key, _, value in given}, kind, unit).bind()


# Limits that are written alike are bound once. The type counts: 1, true and '1' are equal to Python, or as good as.
_PLAIN = frozenset({str, int, bool, Decimal})
_shared = lru_cache(maxsize=4096)(_bound)
