"""Takes bytes apart by their format: what stands where, and what is wrong with it.

Where `Format.decode` refuses the whole for one bad field, this goes on as far as the layout allows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from benchrig.errors import MalformedValue
from benchrig.values.base import Format, count_bytes
from benchrig.values.numbers import IntegerFormat
from benchrig.values.structs import FLAGS, Field, ListFormat, Part, StructFormat
from benchrig.values.value import Value

LEFT_OVER = "left over"


@dataclass(frozen=True)
class Piece:
    """Bytes of a value that belong together: a field, an item of a list, or named bits of a field.

    `name` is dotted, with the index of an item in brackets, '' when the format has only one value. `offset` is in
    octets from the start of the value. Bits of a field (`mask` is not 0) come right after it and share its bytes; the
    other pieces tile the value. `wrong` says why there is no value.
    """

    name: str
    offset: int
    raw: bytes
    value: Value = None
    unit: str = ""
    format: str = ""
    wrong: str = ""
    mask: int = 0

    @property
    def length(self) -> int:
        return len(self.raw)


def explain(form: Format, data: bytes) -> list[Piece]:
    """The pieces of `data`. Never raises; a piece is wrong exactly when `form.decode(data)` raises MalformedValue."""
    return list(_pieces(form, data, "", 0))


def _pieces(form: Format, data: bytes, name: str, offset: int) -> Iterator[Piece]:
    if isinstance(form, StructFormat):
        yield from _fields(form, data, name, offset)
    elif isinstance(form, ListFormat):
        yield from _items(form, data, name, offset)
    else:
        yield _piece(form, data, name, offset)


def _piece(form: Format, data: bytes, name: str, offset: int) -> Piece:
    piece = Piece(name, offset, data, unit=form.unit, format=form.describe())
    try:
        return replace(piece, value=form.decode(data))
    except MalformedValue as error:
        return replace(piece, wrong=error.message)


def _fields(form: StructFormat, data: bytes, name: str, offset: int) -> Iterator[Piece]:
    flags, at = 0, 0
    for item in form.items:
        if not item.present(flags):
            continue
        size = item.format.size
        part = data[at:] if size is None else data[at : at + size]
        inner = f"{name}.{item.name}" if name else item.name
        if size is not None and len(part) < size:
            wrong = f"the value ends here: expected {count_bytes(size)}, found {len(part)}"
            yield Piece(inner, offset + at, part, format=item.format.describe(), wrong=wrong)
            return
        if item.name == FLAGS:
            flags = _pattern(item.format, part)
        yield from _field(item, part, inner, offset + at)
        at += len(part)
    if at < len(data):
        wrong = f"{count_bytes(len(data) - at)} left over"
        yield Piece(f"{name}.{LEFT_OVER}" if name else LEFT_OVER, offset + at, data[at:], wrong=wrong)


def _field(item: Field, data: bytes, name: str, offset: int) -> Iterator[Piece]:
    yield from _pieces(item.format, data, name, offset)
    prefix = name.removesuffix(item.name)
    for part in item.parts:
        yield _bits(part, data, prefix + part.name, offset, _pattern(item.format, data))


def _bits(part: Part, data: bytes, name: str, offset: int, number: int) -> Piece:
    piece = Piece(name, offset, data, format=part.format.describe(), mask=part.mask)
    try:
        return replace(piece, value=part.decode(number))
    except MalformedValue as error:
        return replace(piece, wrong=error.message)


def _pattern(form: Format, data: bytes) -> int:
    """The bits of a field, whether its value is legal or not."""
    return int.from_bytes(data, form.order if isinstance(form, IntegerFormat) else "little")


def _items(form: ListFormat, data: bytes, name: str, offset: int) -> Iterator[Piece]:
    step = form.item.size or 1
    wrong = _wrong_count(form, data)
    if wrong:
        yield Piece(name, offset, data, unit=form.unit, format=form.describe(), wrong=wrong)
        return
    for number, at in enumerate(range(0, len(data), step)):
        yield from _pieces(form.item, data[at : at + step], f"{name}[{number}]", offset + at)


def _wrong_count(form: ListFormat, data: bytes) -> str:
    """Why these are no items; '' when they are, whatever they say."""
    count, rest = divmod(len(data), form.item.size or 1)
    if rest:
        return f"expected {count_bytes(form.item.size or 1)} in item {count + 1}, found {rest}"
    if form.count is not None and count != form.count:
        return f"expected {form.count} items, found {count}"
    return f"expected at least {form.least} item, found none" if count < form.least else ""
