"""What makes the octets of a value at an occasion: fixed ones, what was written, texts with places, more than there is."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, bounded, read_source
from benchrig.radio.virtual.sources import Source
from benchrig.radio.virtual.value_reading import at, number_in, steps_of
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, octets
from benchrig.source.yaml import Refused, plain_scalar
from benchrig.values.base import Format, said
from benchrig.values.quantity import exact
from benchrig.values.text import BytesFormat, TextFormat

if TYPE_CHECKING:
    import random

WRITTEN, LENGTH = "written", "length"
# A place in a text is a name in braces; '{{}' is the brace itself.
_BRACE = "{"
_PLACE = re.compile(r"\{(\{|[^{}]*)\}")
_LAST_NUMBER = re.compile(r"\d+(?=\D*$)")


class Unfit(Exception):
    """What was written makes no value of the place that it goes to."""


class Target(Protocol):
    """A characteristic, as far as an effect may act on it."""

    def current(self, field: str = "") -> bytes: ...

    def put(self, value: bytes, field: str = "") -> None: ...

    def follow(self, source: Source, field: str = "") -> None: ...

    def send_current(self) -> None: ...

    def send_changes(self, source: Source) -> None: ...

    def send_timed(self, values: Sequence[tuple[float, bytes]]) -> None: ...

    def send_answer(self, pieces: Callable[[int], list[bytes]], every: float) -> None: ...


class Stage(Protocol):
    """The device, as far as an effect needs it."""

    @property
    def uptime(self) -> float: ...

    @property
    def targets(self) -> Mapping[str, Target]: ...

    def chance(self, cause: str) -> random.Random: ...


@dataclass(frozen=True)
class Happening:
    """What has set it off."""

    device: Stage
    connection: Any = None
    written: bytes = b""
    groups: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Scope:
    """What the values of an occasion may name. `is_text`: groups are text, not bytes as hex text."""

    named: Mapping[str, CharacteristicSpec]
    groups: tuple[str, ...] = ()
    is_text: bool = False

    def aim(self, name: str, others: tuple[str, ...] = ()) -> Aim:
        """The characteristic of this name, or a field of it. `others` are names that could be meant there too. Raises
        Misfit."""
        if name in self.named:
            return Aim(name, "", self.named[name].format)
        for called in sorted(self.named, key=len, reverse=True):
            form = self.named[called].format
            if form and name.startswith(f"{called}."):
                return _field(called, name[len(called) + 1 :], form)
        what = f"this device has no characteristic '{name}'" + (", and no group has that name" if others else "")
        raise Misfit(what, suggest(name, {*self.named, *others}))


@dataclass(frozen=True)
class Aim:
    """Where a value goes: the format is that of the field, if there is one."""

    characteristic: str
    field: str
    format: Format | None

    def target(self, happening: Happening) -> Target:
        return happening.device.targets[self.characteristic]

    def current(self, happening: Happening) -> bytes:
        return self.target(happening).current(self.field)


def _field(called: str, name: str, form: Format) -> Aim:
    leaves = form.leaves()
    if name not in leaves:
        raise Misfit(f"'{called}' has no field '{name}'", suggest(name, leaves))
    return Aim(called, name, leaves[name])


Maker: TypeAlias = Callable[[Happening], bytes]


def literal(text: str) -> str:
    """As a device file has a text that nothing is to be filled into."""
    return text.replace(_BRACE, "{{}") if _PLACE.search(text) or "${" in text else text


def maker_of(value: Any, form: Format | None, scope: Scope, aim: Aim | None = None) -> Maker:
    """What makes the octets of a value. `aim`: where more may be added. Raises Misfit."""
    if value == WRITTEN:
        return lambda happening: happening.written
    if isinstance(value, str) and _PLACE.search(value):
        return Filled(value, form, scope)
    if aim and isinstance(value, dict) and value.keys() == {"add"} and not (form and form.leaves()):
        return at("add", Added.read, value["add"], aim)
    source = bounded(read_source(value, form))
    return lambda happening: source.take(happening.device.uptime, happening.device.chance("values"))


def fixed_octets(value: Any, form: Format | None) -> bytes:
    """The octets of a single value. Raises Misfit."""
    source = bounded(read_source(value, form))
    examples = source.pattern.examples()
    if len(examples) != 1:
        raise Misfit("expected a single value")
    return form.encode(examples[0]) if form else bytes(examples[0])


class Filled:
    """A text with places to fill in: text where the format is one, else bytes as hex text."""

    def __init__(self, text: str, form: Format | None, scope: Scope) -> None:
        self._text, self._format = text, form
        self._is_text, self._groups = isinstance(form, TextFormat) or form is TEXT, scope.groups
        self._from_text = scope.is_text and not isinstance(form, BytesFormat)
        own = (WRITTEN, *scope.groups, *([_BRACE] if self._is_text or self._from_text else []))
        self._aims = {name: scope.aim(name, own) for name in _PLACE.findall(text) if name not in own}
        if not self._is_text and not self._from_text:
            octets(_PLACE.sub("", text))

    def __call__(self, happening: Happening) -> bytes:
        text = _PLACE.sub(lambda place: self._part(place[1], happening), self._text)
        if self._is_text:
            return text.encode("utf-8", "replace")
        if self._from_text and self._format:
            return _typed(text, self._format)
        try:
            return bytes.fromhex(text)
        except ValueError:
            raise Unfit from None

    def _part(self, name: str, happening: Happening) -> str:
        if name in self._groups:
            return happening.groups.get(name, "")
        if name == _BRACE:
            return name
        if name == WRITTEN:
            return happening.written.decode("utf-8", "replace") if self._is_text else happening.written.hex()
        aim = self._aims[name]
        value = aim.current(happening)
        return _shown(value, aim.format) if self._is_text or self._from_text else value.hex()


TEXT = TextFormat("utf8")


def _shown(value: bytes, form: Format | None) -> str:
    """A value in a text."""
    if form is None:
        return value.hex()
    try:
        decoded = form.decode(value)
    except MalformedValue:
        return value.hex()
    return decoded.hex() if isinstance(decoded, bytes) else decoded if isinstance(decoded, str) else said(decoded)


def _typed(text: str, form: Format) -> bytes:
    """The octets of a value that came as text: zeros before a number are no part of it."""
    value = plain_scalar((text.lstrip("0") or "0") if text.isdecimal() else text)
    try:
        return fixed_octets(text if form.unit or isinstance(value, Refused) else value, form)
    except (Misfit, MalformedValue):
        raise Unfit from None


@dataclass(frozen=True)
class Added:
    """What is there and so much more; it stays where the format ends."""

    aim: Aim
    step: Fraction | None  # None: the number of bytes written

    @classmethod
    def read(cls, value: Any, aim: Aim) -> Added:
        if aim.format is None or aim.format.kind not in ("number", "text"):
            raise Misfit(f"'{aim.characteristic}' is not a number", "write the value itself")
        return cls(aim, None if value == LENGTH else number_in(value, aim.format))

    def __call__(self, happening: Happening) -> bytes:
        form = self.aim.format
        assert form is not None
        step = Fraction(len(happening.written)) if self.step is None else self.step
        try:
            value = form.decode(self.aim.current(happening))
            return form.encode(_counted_text(value, step) if isinstance(form, TextFormat) else _more(value, step, form))
        except MalformedValue:
            raise Unfit from None


def _more(value: Any, step: Fraction, form: Format) -> Fraction:
    if isinstance(value, str):  # a word in place of a number
        raise Unfit
    return steps_of(form).nearest(exact(value) + step)


def _counted_text(text: Any, step: Fraction) -> str:
    """The text with its last number counted on."""
    found = _LAST_NUMBER.search(text)
    if found is None:
        raise Unfit
    number = max(0, int(found[0]) + int(step))
    return f"{text[: found.start()]}{number:0{len(found[0])}d}{text[found.end() :]}"
