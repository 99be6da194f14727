"""How good units of one kind differ from one another: the spread of a device file.

spread:
  level: 2 dB              of the level at which the bench hears it; a standard deviation
  clock: 50 ppm            of its crystal: all its intervals and periods; the largest deviation, as the next two
  advertising: 1 %         of the advertising interval, beside that
  notifying: 1 %           of the periods of its notifications, beside that
  answers: 10 ms           the longest time that it takes before it answers a request
  connecting: 50 ms        the longest time before it answers anything on a new link
  name: {text: 'VFL-{number}', digits: 4}      the advertised name
  values:
    - {of: [temperature, log.temperature], sd: 0.3 °C}       one sensor: all of these are moved alike
    - {of: battery level, from: 85 %, to: 100 %}
    - {of: hardware revision, one_of: [C, D]}
    - {of: serial number, text: 'VFL3-{number}', digits: 6, label: serial}

What is not written has no spread. spread.py draws a unit; spread_values.py puts values into their characteristics.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Self

import msgspec

from benchrig.source.shape import Misfit, describe_value
from benchrig.values.quantity import Duration, Gain
from benchrig.values.share import Share

NUMBER = "{number}"
MOST_DIGITS = 12
_WAYS = ("sd", "from", "one_of", "text")
# More than this is another product, and no spread.
_MOST_TIMING = 0.5


class Targets(tuple[str, ...]):
    """The name of a value, or a list of several."""

    __slots__ = ()

    @classmethod
    def from_source(cls, value: Any) -> Self:
        names = [value] if isinstance(value, str) else value
        if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
            raise Misfit(
                f"expected a name or a list of names, found {describe_value(value)}", "for example: temperature"
            )
        return cls(names)


class NumberedSpec(msgspec.Struct, kw_only=True, frozen=True):
    """A text with the number of the unit in it: its last `digits` digits. `label` as of a value."""

    text: str
    digits: int = 1
    label: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from _numbered_misfits(self.text, self.digits)

    def of(self, number: int) -> str:
        return numbered(self.text, self.digits, number)


class ValueSpreadSpec(msgspec.Struct, kw_only=True, frozen=True):
    """How one value differs, or several of them alike. `label`: what a plan calls it that asks for it, because it is
    printed on the unit."""

    of: Targets
    sd: Any = None
    from_: Any = msgspec.field(name="from", default=None)
    to: Any = None
    one_of: list[Any] | None = None
    text: str | None = None
    digits: int = 1
    label: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        given = [key for key, value in zip(_WAYS, (self.sd, self.from_, self.one_of, self.text), strict=True)
                 if value is not None]  # fmt: skip
        if len(given) != 1:
            yield Misfit("a value differs in one way", "write one of sd, from and to, one_of, text")
        if (self.from_ is None) != (self.to is None):
            have, need = ("from", "to") if self.to is None else ("to", "from")
            yield Misfit(f"{have} without {need}", f"add {need}", (have,))
        if self.one_of is not None and not self.one_of:
            yield Misfit("an empty list", "write the values that units have", ("one_of",))
        if self.text is None and self.digits != 1:
            yield Misfit("only a text with a number has digits", "take 'digits' out", ("digits",))
        if self.text is not None:
            yield from _numbered_misfits(self.text, self.digits)


class SpreadSpec(msgspec.Struct, kw_only=True, frozen=True):
    """Of a device."""

    level: Gain | None = None
    clock: Share | None = None
    advertising: Share | None = None
    notifying: Share | None = None
    answers: Duration | None = None
    connecting: Duration | None = None
    name: NumberedSpec | None = None
    values: list[ValueSpreadSpec] = []

    def misfits(self) -> Iterable[Misfit]:
        if self.level is not None and self.level.number < 0:
            yield Misfit("a spread is not negative", path=("level",))
        for key in ("clock", "advertising", "notifying"):
            share = getattr(self, key)
            if share is not None and share.part > _MOST_TIMING:
                yield Misfit(f"expected at most 50 %, found {share}", path=(key,))
        taken: dict[str, int] = {}
        for index, name in ((index, name) for index, one in enumerate(self.values) for name in one.of):
            if name in taken:
                yield Misfit(f"'{name}' has a spread already", "keep one of the two", ("values", index, "of"))
            taken[name] = index


def numbered(text: str, digits: int, number: int) -> str:
    return text.replace(NUMBER, f"{number % 10**digits if digits > 1 else number:0{digits}d}")


def _numbered_misfits(text: str, digits: int) -> Iterable[Misfit]:
    if text.count(NUMBER) != 1:
        yield Misfit(f"expected a text with one {NUMBER} in it", "for example: 'VFL3-{number}'", ("text",))
    if not 1 <= digits <= MOST_DIGITS:
        yield Misfit(f"expected 1 to {MOST_DIGITS} digits, found {digits}", path=("digits",))
