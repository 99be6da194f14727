"""Formats by name, and formats built from what a text file says.

{as: sint16, scale: 0.01, unit: °C, valid_min: -273.15, words: {0x8000: not known}}

fields:
  - {name: flags, as: uint8, rfu: 0xF8, bits: {running: 0x04}}
  - {name: speed, as: uint16, scale: 1/256, unit: m/s}
  - {name: stride, as: uint16, scale: 0.01, unit: m, when: 0x01}

spec.py       what the keys take
base.py       what every format can do
numbers.py    integers, floats, booleans        medfloat.py   medical floats
text.py       text and bytes                    times.py      date and time
structs.py    structures and lists
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cache, cached_property
from typing import Any, ClassVar

import msgspec

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values import decimal_text, medfloat, numbers, text, times
from benchrig.values.assigned import defined_names, definition_of, numbers_named
from benchrig.values.base import RANGE_KEYS, Format, Keys, Kind, Order, Range
from benchrig.values.numbers import BooleanFormat, IntegerFormat
from benchrig.values.pattern import Regex
from benchrig.values.spec import BitParts, Exact, Words, check_field_name
from benchrig.values.structs import FLAGS, Field, ListFormat, Part, StructFormat
from benchrig.values.units import unit_named

__all__ = ["FieldSpec", "Format", "FormatSpec", "Kind", "build_format", "format_names", "spec_from", "spec_of"]

_WIDTHS = (2, 4, 8, 12, 16, 24, 32, 40, 48, 64, 128)
_INTEGERS = {f"uint{bits}": (bits, False) for bits in _WIDTHS} | {
    f"sint{bits}": (bits, True) for bits in _WIDTHS if bits > 4
}
_ALIASES = {"bool": "boolean", "bytes": "hex", "int8": "sint8", "int16": "sint16", "int24": "sint24", "int32": "sint32",
            "int64": "sint64", "float": "float32", "double": "float64", "text": "utf8", "string": "utf8",
            "utf8s": "utf8", "sfloat": "medfloat16"}  # fmt: skip

_INTEGER = RANGE_KEYS | {"scale", "offset", "words", "only_words", "bits", "rfu"}
# The formats that are no integers.
_NAMED = numbers.NAMED | decimal_text.NAMED | medfloat.NAMED | text.NAMED | times.NAMED

# A scale beyond this gives numbers that no float can hold.
_LARGEST_SCALE = 10**130


class FormatSpec(msgspec.Struct, kw_only=True, omit_defaults=True, frozen=True, dict=True):  # dict: for `built`
    """One format. `as_` is a format name or an assigned characteristic; `length` is in octets; the valid range is
    in the scaled value; bits under `rfu` must be 0; with `only_words` no value without a word is legal."""

    as_: str | None = msgspec.field(default=None, name="as")
    scale: Exact | None = None
    offset: Exact | None = None
    unit: str | None = None
    order: Order | None = None
    length: int | None = None
    part: Regex | None = None
    valid_min: Exact | None = None
    valid_max: Exact | None = None
    words: Words | None = None
    only_words: bool | None = None
    bits: BitParts | None = None
    rfu: int | None = None
    fields: list[FieldSpec] | None = None

    def given(self) -> list[str]:
        """The keys of the format that are set, as they are written."""
        return [key for name, key in _format_keys() if getattr(self, name) is not None]

    def misfits(self) -> Iterable[Misfit]:
        if self.given():
            try:
                _ = self.built
            except Misfit as misfit:
                yield misfit

    @cached_property
    def built(self) -> Format:
        """The format that is described: the check of a plan builds it for the run. Raises Misfit."""
        return build_format(self)


@cache
def _format_keys() -> tuple[tuple[str, str], ...]:
    """The fields of a format and the keys that they are written with; asking msgspec evaluates every annotation."""
    return tuple((field.name, field.encode_name) for field in msgspec.structs.fields(FormatSpec))


class FieldSpec(FormatSpec, kw_only=True, omit_defaults=True, frozen=True):
    """A field of a structure. It is there when all bits of `when` are set in the field named `flags` and all bits
    of `unless` are clear. `list` takes all that is left as a list."""

    elsewhere: ClassVar[dict[str, str]] = {"repeat": "write 'list'"}

    name: str
    when: int = 0
    unless: int = 0
    list_: bool = msgspec.field(name="list", default=False)


def spec_from(data: Any) -> FormatSpec:
    """A spec from plain data such as JSON. Raises msgspec.ValidationError or Misfit."""
    return msgspec.convert(data, FormatSpec, dec_hook=lambda kind, value: kind.from_source(value))


@cache
def spec_of(uuid: int) -> FormatSpec | None:
    """The definition of an assigned characteristic or descriptor."""
    data = definition_of(uuid)
    return None if data is None else spec_from(data)


def _spec_named(name: str) -> FormatSpec | None:
    return next(filter(None, map(spec_of, numbers_named(name))), None)


def format_names() -> list[str]:
    """The names that `as` takes, beside the assigned characteristics and descriptors that have a definition."""
    return [*_INTEGERS, *_NAMED]


def build_format(spec: FormatSpec, order: Order | None = None) -> Format:
    """The format a spec describes; `order` is that of the structure around it. Raises Misfit with the path to what
    is wrong."""
    if spec.fields is not None:
        return _struct(spec, order)
    if spec.as_ is None:
        listed = ", ".join(format_names())
        raise Misfit("a format is missing", f"write 'as' with a format, or 'fields'; formats: {listed}")
    if spec.as_ in _INTEGERS:
        return _integer_or_flags(spec, order)
    if spec.as_ in _NAMED:
        return _named(spec, order)
    return _assigned(spec)


def _integer_or_flags(spec: FormatSpec, order: Order | None) -> Format:
    _check_keys(spec, _INTEGER)
    number = _integer(spec, order)
    if spec.bits is None:
        return number
    return StructFormat([Field(FLAGS, number, parts=_parts(spec.bits, number))])


def _integer(spec: FormatSpec, order: Order | None) -> IntegerFormat:
    bits, signed = _INTEGERS[spec.as_ or ""]
    scale = Fraction(1) if spec.scale is None else Fraction(spec.scale)
    if scale == 0 or not Fraction(1, _LARGEST_SCALE) < abs(scale) < _LARGEST_SCALE:
        raise Misfit(f"a scale of {scale if scale == 0 else 'this size'} cannot be used", path=("scale",))
    _check_unit(spec)
    _check_words(spec, bits)
    if spec.rfu is not None and not 0 < spec.rfu < 1 << bits:
        raise Misfit(f"the mask does not fit a number of {bits} bits", path=("rfu",))
    return IntegerFormat(
        bits, signed, order=_order(spec, order), scale=scale, offset=Fraction(spec.offset or 0), unit=spec.unit or "",
        valid=_range(spec), words=dict(spec.words or {}), only_words=bool(spec.only_words), rfu=spec.rfu or 0,
    )  # fmt: skip


def _check_words(spec: FormatSpec, bits: int) -> None:
    if spec.only_words and not spec.words:
        raise Misfit("only_words without words", "add words", ("only_words",))
    for raw in spec.words or ():
        lowest = -(1 << (bits - 1)) if (spec.as_ or "").startswith("s") else 0
        if not lowest <= raw < 1 << bits:
            raise Misfit(f"{raw} does not fit a {spec.as_}", path=("words",))


def _parts(parts: BitParts, number: IntegerFormat) -> tuple[Part, ...]:
    if number.signed or number.scale != 1 or number.offset != 0 or number.words:
        raise Misfit("bits need an unsigned number without scale, offset and words", path=("bits",))
    taken = 0
    for name, part in parts.items():
        if part.mask >> number.bits:
            raise Misfit(f"the mask 0x{part.mask:X} does not fit {number.bits} bits", path=("bits", name))
        if part.mask & (taken | number.rfu):
            raise Misfit("the mask covers bits that another part or 'rfu' has", path=("bits", name))
        taken |= part.mask
    return tuple(Part(name, part.mask, _part_format(name, part.mask, part.words)) for name, part in parts.items())


def _part_format(name: str, mask: int, words: Words | None) -> IntegerFormat | BooleanFormat:
    bits = mask.bit_count()
    for raw in words or ():
        if not 0 <= raw < 1 << bits:
            raise Misfit(f"{raw} does not fit {bits} bits", path=("bits", name, "words"))
    if bits == 1 and words is None:
        return BooleanFormat()
    return IntegerFormat(bits, words=dict(words or {}), only_words=words is not None)


def _named(spec: FormatSpec, order: Order | None) -> Format:
    named = _NAMED[spec.as_ or ""]
    _check_keys(spec, named.keys)
    _check_unit(spec)
    if spec.length is not None and not 0 < spec.length <= 512:
        raise Misfit(f"a value has 1 to 512 bytes, not {spec.length}", path=("length",))
    return named.make(Keys(spec.unit or "", _order(spec, order), spec.length, _range(spec), spec.part))


def _assigned(spec: FormatSpec) -> Format:
    name = spec.as_ or ""
    definition = _spec_named(name)
    if definition is None:
        raise _unknown(name)
    _check_keys(spec, frozenset())
    return build_format(definition)


def _unknown(name: str) -> Misfit:
    listed = "write one of: " + ", ".join(format_names())
    if numbers_named(name):
        return Misfit(f"the format of '{name}' is not known here", listed, ("as",))
    nearest = _ALIASES.get(name)
    advice = f"did you mean '{nearest}'?" if nearest else suggest(name, [*format_names(), *defined_names()])
    return Misfit(f"unknown format '{name}'", advice or listed, ("as",))


def _struct(spec: FormatSpec, order: Order | None) -> Format:
    _check_keys(spec, frozenset({"fields", "order"}), "a structure")
    if not spec.fields:
        raise Misfit("a structure without fields", path=("fields",))
    items: list[Field] = []
    for index, one in enumerate(spec.fields):
        try:
            items.append(_field(one, spec.order or order, items))
        except Misfit as misfit:
            raise Misfit(misfit.message, misfit.advice, ("fields", index, *misfit.path)) from misfit
    return StructFormat(items)


def _field(spec: FieldSpec, order: Order | None, before: list[Field]) -> Field:
    check_field_name(spec.name)
    if before and before[-1].format.size is None:
        raise Misfit(f"nothing can follow '{before[-1].name}', which takes all that is left", "put it last")
    _check_condition(spec, before)
    plain = FormatSpec(**{key: getattr(spec, key) for key in FormatSpec.__struct_fields__ if key != "bits"})
    form = build_format(plain, order)
    if spec.list_:
        if not form.size:
            raise Misfit("only a format of fixed size can be a list", path=("list",))
        form = ListFormat(form, least=1 if spec.when or spec.unless else 0)
    field = Field(spec.name, form, spec.when, spec.unless, _field_parts(spec, form))
    _check_flags(field)
    _check_names(field, before)
    return field


def _field_parts(spec: FieldSpec, form: Format) -> tuple[Part, ...]:
    if spec.bits is None:
        return ()
    if not isinstance(form, IntegerFormat):
        raise Misfit("only an integer has bits", path=("bits",))
    return _parts(spec.bits, form)


def _check_condition(spec: FieldSpec, before: list[Field]) -> None:
    for key, mask in (("when", spec.when), ("unless", spec.unless)):
        if not mask:
            continue
        flags = next((field.format for field in before if field.name == FLAGS), None)
        if not isinstance(flags, IntegerFormat):
            raise Misfit(f"'{key}' needs a field named '{FLAGS}' before this one", path=(key,))
        if mask < 0 or mask >> flags.bits:
            raise Misfit(f"the mask does not fit flags of {flags.bits} bits", path=(key,))
    if spec.when & spec.unless:
        raise Misfit("the same bit is in 'when' and 'unless', so the field is never there", path=("unless",))


def _check_flags(field: Field) -> None:
    if field.name != FLAGS:
        return
    form = field.format
    plain = isinstance(form, IntegerFormat) and not (form.signed or form.words or form.offset or form.scale != 1)
    if not plain or field.when or field.unless:
        raise Misfit(f"the field '{FLAGS}' must be an unsigned integer that is always there", path=("name",))


def _check_names(field: Field, before: list[Field]) -> None:
    """Fields may share a name when they exclude each other; parts may not, for they stand beside the fields."""
    for other in before:
        shared = set(other.names) & set(field.names)
        if not shared:
            continue
        apart = field.when & other.unless or field.unless & other.when
        if not apart or shared != {field.name} or field.name != other.name:
            advice = "only fields that exclude each other may share a name"
            raise Misfit(f"the name '{min(shared)}' is taken", advice, ("name",))
        if (field.format.unit, field.format.kind) != (other.format.unit, other.format.kind):
            advice = "give them different names"
            raise Misfit(f"the fields named '{field.name}' differ in unit or kind", advice, ("name",))


def _check_keys(spec: FormatSpec, allowed: frozenset[str], what: str = "") -> None:
    for key in spec.given():
        if key != "as" and key not in allowed:
            also = ", ".join(sorted(allowed - {"fields"}))
            raise Misfit(
                f"'{key}' does not apply to {what or spec.as_}", f"write one of: {also}" if also else "", (key,)
            )
        if key == "as" and "fields" in allowed:
            raise Misfit("'as' and 'fields' exclude each other", "leave out one of them", ("as",))


def _check_unit(spec: FormatSpec) -> None:
    if spec.unit:
        try:
            unit_named(spec.unit)
        except Misfit as misfit:
            raise Misfit(misfit.message, misfit.advice, ("unit",)) from misfit


def _range(spec: FormatSpec) -> Range:
    low, high = spec.valid_min, spec.valid_max
    if low is not None and high is not None and low > high:
        raise Misfit("valid_min is above valid_max, so no value is legal", path=("valid_min",))
    return Range(low, high)


def _order(spec: FormatSpec, around: Order | None = None) -> Order:
    return spec.order or around or "little"
