"""`given`: what a plan says of a value that comes from outside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from random import Random, SystemRandom
from typing import Any, ClassVar

import msgspec

from benchrig.record.secrets import SHORTEST
from benchrig.source.problem import suggest
from benchrig.source.shape import LooseText, Misfit, octets
from benchrig.values.judging import BoundLimit, Kind, typed
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import AnyValue
from benchrig.values.pattern import Regex, captured, group_names
from benchrig.values.quantity import Quantity, as_number, exact
from benchrig.values.rising import one_value

MOST_RANDOM = 512
# What a random text is made of: a person can read it aloud.
_CHARACTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"


class Part(Regex):
    """A pattern with one named group: the part that is the value."""

    __slots__ = ()

    @classmethod
    def from_source(cls, value: Any) -> Part:
        pattern = super().from_source(value)
        names = group_names(pattern)
        if len(names) != 1:
            found = f"{len(names)}: {', '.join(names)}" if names else "none"
            raise Misfit(f"expected a pattern with one named group, found {found}", "for example: 'SN=(?P<part>\\d+)'")
        return cls(pattern)


class RandomValue(msgspec.Struct, frozen=True, omit_defaults=True):
    """A value that each run draws anew: so many bytes, or so many characters."""

    bytes: int | None = None
    text: int | None = None

    def misfits(self) -> Iterable[Misfit]:
        if (self.bytes is None) == (self.text is None):
            yield Misfit("a random value has either bytes or text", "for example: {bytes: 8}")
        for key in ("bytes", "text"):
            size = getattr(self, key)
            if size is not None and not 1 <= size <= MOST_RANDOM:
                yield Misfit(f"expected 1 to {MOST_RANDOM}, found {size}", "for example: 8", (key,))

    def draw(self, seed: str | None) -> Any:
        """The same for the same seed; without one nobody can tell what comes."""
        source = SystemRandom() if seed is None else Random(seed)
        if self.bytes is not None:
            return bytes(source.randrange(256) for _ in range(self.bytes))
        return LooseText("".join(source.choice(_CHARACTERS) for _ in range(self.text or 0)))

    def read(self, text: str) -> Any:
        """One that was given instead. Misfit for one of another kind or size."""
        value: Any = text if self.bytes is None else octets(text)
        due = self.text if self.bytes is None else self.bytes
        if len(value) != due:
            what = "characters" if self.bytes is None else "bytes"
            raise Misfit(f"expected {due} {what}, found {len(value)}", "leave the value out to have one drawn")
        return LooseText(value) if self.bytes is None else value


class Given(Limit, frozen=True, omit_defaults=True):
    """A value that comes from outside the plan: how it is asked for, a default, and the limit it must satisfy. A `secret`
    one reaches the unit and nothing else."""

    direct: ClassVar[str] = "default"
    called: ClassVar[str] = ""  # any word may be the name of one
    beside: ClassVar[frozenset[str]] = frozenset({"default", "secret", "prompt", "part", "random", "record"})
    # the keys that a parameter of a file of steps has not
    of_runs: ClassVar[tuple[str, ...]] = ("prompt", "part", "random", "record")

    default: AnyValue | None = None
    secret: bool = False
    prompt: str | None = None
    part: Part | None = None
    random: RandomValue | None = None
    record: bool = False

    def misfits(self) -> Iterable[Misfit]:
        if self.secret and self.default is not None:
            yield Misfit("the default of a secret would be visible in the plan", "leave the default out", ("default",))
        if self.secret and self.record:
            yield Misfit("a secret is not kept for the record", "take out record or secret", ("record",))
        if self.prompt is not None and not self.prompt.strip():
            yield Misfit("the prompt is empty", "write what to enter, for example: Scan the label", ("prompt",))
        if self.random is not None:
            yield from self._beside_random()
        if self.keys():
            yield from super().misfits()
        if self.needs_samples:
            yield one_value("given")
        yield from self._of_default()

    def _beside_random(self) -> Iterable[Misfit]:
        for key in (*self.keys(), "default", "secret", "prompt", "part"):
            if key in self.keys() or getattr(self, key):
                yield Misfit(f"a random value has no {key}", f"take out {key}, or random", (key,))

    def _of_default(self) -> Iterable[Misfit]:
        try:
            self._bound()
            problem = "" if self.default is None else self.problem_with(self.default)
        except Misfit as misfit:
            yield misfit
        else:
            if problem:
                yield Misfit(f"the default: {problem}", "write one that fits the limit", path=("default",))

    # --- from what was given

    def taken(self, text: str) -> Any:
        """The value in a text from outside. Misfit for a text without one."""
        if self.random is not None:
            return self.random.read(text)
        value = text if self.part is None else self._part_of(text, self.part)
        if not value.strip() and not self.keys():
            # text without anything is contained in every other
            raise Misfit("expected a value, found none", "give one, or write a limit that an empty value satisfies")
        return LooseText(value)

    def _part_of(self, text: str, part: Part) -> str:
        value = next(iter((captured(part, text) or {}).values()), "")
        if not value:
            found = "another text" if self.secret else f"'{text}'"
            raise Misfit(
                f"{self._asked_for(part)}, found {found}; its form is '{part}'", "scan or type the whole label"
            )
        return value

    def _asked_for(self, part: Part) -> str:
        """In the words of the plan, for who reads no pattern."""
        [group] = group_names(part)
        return f"expected text with the {group} in it" + (f" ({self.prompt})" if self.prompt else "")

    def question(self, name: str) -> str:
        """What a person is asked, with all that may be answered where that is listed."""
        return (self.prompt or name) + (f" ({', '.join(self.listed)})" if self.listed and not self.secret else "")

    def problem_in(self, text: str) -> str:
        """Why the text is not acceptable, '' when it is. Raises Misfit when the limit itself makes no sense."""
        try:
            value = self.taken(text)
        except Misfit as misfit:
            return misfit.message
        return self.problem_with(value)

    def problem_with(self, value: Any) -> str:
        """The same of the value that was in it."""
        problem = self._problem_with(value) if self.keys() else ""
        if self.secret and len(str(value)) < SHORTEST:
            return f"a secret has at least {SHORTEST} characters: a shorter one occurs by chance in other texts"
        return "it does not satisfy its limit" if problem and self.secret else problem

    def never(self, name: str, limit: Limit) -> Iterator[Misfit]:
        """What keeps a limit, that applies to such values, from ever being satisfied by one."""
        strangers = [(path, value, problem) for path, value in limit.named() if (problem := self.problem_with(value))]
        for path, value, problem in strangers:
            yield Misfit(f"{name} is never that: {problem}", self._nearest(str(value)), path)
        bound = limit.bind(*self.kind)
        if strangers:
            return
        if self.listed and not any(bound.passes(word) for word in self.listed):
            yield Misfit(f"{name} is one of {', '.join(self.listed)}, so this never holds", "write a limit within")
        elif self.kind[0] == "number" and apart(self._bound(), bound):
            yield Misfit(f"{name} is {self._bound().words}, so this never holds", "write a limit within")

    @property
    def listed(self) -> list[str]:
        """All that it can be, where that is listed."""
        return [str(word) for word in self.one_of] if "one_of" in self.keys() else []

    def _nearest(self, word: str) -> str:
        return suggest(word, self.listed) or "write one that the given value may be"

    def _problem_with(self, value: Any) -> str:
        kind, unit = self.kind
        limit = self._bound()
        if kind == "number":
            number = number_in(value, unit)
            if number is None:
                return f"'{value}' is not a {'quantity in ' + unit if unit else 'number'}"
            value = number
        judgement = limit.judge(value if kind == "number" else str(value))
        return "" if judgement.passed else judgement.sentence

    def _bound(self) -> BoundLimit:
        """The limit alone. Raises Misfit when nothing could satisfy it."""
        return Limit(**{key: getattr(self, key) for key in self.keys()}).bind(*self.kind)

    @property
    def kind(self) -> tuple[Kind, str]:
        """What the value is, and its unit. Misfit for a limit in an unknown one."""
        if self.random is not None:
            return ("text" if self.random.bytes is None else "bytes"), ""
        for key in ("min", "above", "max", "below", "nominal", "tolerance"):
            if key in self.keys():
                bound = getattr(self, key)
                bound = Quantity.from_source(bound) if isinstance(bound, str) else bound
                return "number", bound.unit.symbol if isinstance(bound, Quantity) else ""
        return "text", ""


def apart(one: BoundLimit, other: BoundLimit) -> bool:
    """Whether no number satisfies both."""
    return _empty(one, other) or _empty(other, one)


def _empty(lower: BoundLimit, upper: BoundLimit) -> bool:
    low, high = lower.low, upper.high
    if low is None or high is None:
        return False
    return bool(low > high or (low == high and (lower.low_open or upper.high_open)))


def number_in(value: Any, unit: str) -> float | int | None:
    """What is written as a number in this unit; None for anything else."""
    value = typed(value)
    try:
        if isinstance(value, str):
            value = Quantity.from_source(value)
        if isinstance(value, Quantity):
            return as_number(value.to(unit)) if unit else None
    except Misfit:
        return None
    is_number = isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)
    return None if unit or not is_number else as_number(exact(value))
