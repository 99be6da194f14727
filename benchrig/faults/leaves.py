"""The values that a device sends, each as a whole and by its fields, with what it is when nothing is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeAlias

from msgspec.structs import replace

from benchrig.errors import MalformedValue
from benchrig.faults.fault import Fault, Weight
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, replaced
from benchrig.faults.parts import At, characteristics
from benchrig.faults.references import changed_values
from benchrig.radio.virtual.behaviour import On
from benchrig.radio.virtual.behaviours import AttError
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.distortion_spec import DistortionSpec, spans_of
from benchrig.radio.virtual.gatt_spec import PROPERTIES, UPDATES, WRITES, CharacteristicSpec
from benchrig.radio.virtual.sources import Constant, Fields, Pattern
from benchrig.values.base import Format, exact_number
from benchrig.values.limit import Limit
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.structs import StructFormat

Number: TypeAlias = IntegerFormat | FloatFormat | MedFloatFormat
NUMBERS = (IntegerFormat, FloatFormat, MedFloatFormat)


@dataclass(frozen=True)
class Leaf:
    """A value, or a field of one. `octets` and `value` are those of an example; `pattern` makes it, where one does so
    for it alone; `varies`: it may become another one."""

    at: At
    field: str
    form: Format | None
    pattern: Pattern | None
    octets: bytes
    varies: bool
    limits: Sequence[Limit] = ()

    @property
    def spec(self) -> CharacteristicSpec:
        spec: CharacteristicSpec = self.at.spec
        return spec

    @property
    def it(self) -> str:
        """The beginning of a sentence about it."""
        return f"The {self.field} in the {self.at.called}" if self.field else f"The {self.at.called}"

    @property
    def value(self) -> Any:
        """None where the octets are no value of the format."""
        try:
            return self.form.decode(self.octets) if self.form else self.octets
        except MalformedValue:
            return None

    @property
    def number(self) -> Fraction | None:
        try:
            return exact_number(self.value, "a number")
        except MalformedValue:
            return None

    @property
    def is_constant(self) -> bool:
        """Whether the file gives one value to begin with."""
        return isinstance(self.pattern, Constant)

    @property
    def stays(self) -> bool:
        """Whether nothing but a write or a reaction makes it another one."""
        return self.pattern is not None and _is_constant(self.pattern)

    def fault(self, kind: str, says: str, change: Change, weight: Weight = "serious") -> Fault:
        """`says` goes on behind what it is called."""
        called = f"{self.at.called}.{self.field}" if self.field else self.at.called
        at = At(self.at.path, called, self.at.spec)
        return at.fault("value", kind, f"{self.it} {says}", change, weight)

    def distorted(self, kind: str, says: str, weight: Weight = "serious", **keys: Any) -> Iterator[Fault]:
        """The fault that distorts it so, if that makes a difference."""
        by = DistortionSpec(field=self.field, **keys)
        alone = replace(by, field="")
        if self.varies or alone.apply(self.octets, self.form) != self.octets:
            yield self.fault(kind, says, replaced(distorted=by), weight)


def leaves(device: DeviceSpec, limits: Limits) -> Iterator[tuple[Leaf, list[Leaf]]]:
    """Each value that anybody can see, and its fields."""
    touched = changed_values(device)
    for at in characteristics(device):
        if _is_seen(at.spec):
            whole = Leaf(at, "", *_made(at.spec), varies(at, touched), limits.get(at.path, ()))
            yield whole, list(_fields(whole, limits, touched))


def varies(at: At, touched: set[str]) -> bool:
    """Whether its value may become another one; `touched` is what the device sets."""
    is_set = any(_is_of(name, at.called) for name in touched)
    return is_set or bool(at.spec.property_bits & WRITES) or not _is_constant(at.spec.source.pattern)


def _is_of(name: str, called: str) -> bool:
    return name == called or name.startswith(f"{called}.")


def _is_seen(spec: CharacteristicSpec) -> bool:
    """Whether it is sent, or can be read."""
    refused = any(isinstance(one, AttError) and On.READ in one.on for one in spec.on_read.behaviours)
    can_read = bool(spec.property_bits & PROPERTIES["read"]) and not refused
    return spec.authorized and (can_read or bool(spec.property_bits & UPDATES))


def _made(spec: CharacteristicSpec) -> tuple[Format | None, Pattern, bytes]:
    source = spec.source
    example = next(iter(source.pattern.examples()), b"")
    return spec.format, source.pattern, source.format.encode(example) if source.format else example


def _is_constant(pattern: Pattern) -> bool:
    if isinstance(pattern, Fields):
        return all(_is_constant(one) for one in pattern.fields.values())
    return isinstance(pattern, Constant)


def _fields(whole: Leaf, limits: Limits, touched: set[str]) -> Iterator[Leaf]:
    form = whole.form
    for name, start, end, leaf in spans_of(whole.octets, form) if isinstance(form, StructFormat) else ():
        pattern = _pattern_of(whole.pattern, name)
        is_set = f"{whole.at.called}.{name}" in touched
        moves = is_set or bool(whole.spec.property_bits & WRITES) or pattern is None or not _is_constant(pattern)
        yield Leaf(
            whole.at, name, leaf, pattern, whole.octets[start:end], moves, limits.get(f"{whole.at.path}.{name}", ())
        )


def _pattern_of(pattern: Pattern | None, field: str) -> Pattern | None:
    """What makes this field alone."""
    for name in field.split("."):
        pattern = pattern.fields.get(name) if isinstance(pattern, Fields) else None
    return pattern
