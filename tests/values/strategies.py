"""Bytes that a format accepts, and values that no one should have written."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from benchrig.values.base import Format
from benchrig.values.decimal_text import DecimalFormat
from benchrig.values.numbers import BooleanFormat, IntegerFormat
from benchrig.values.structs import FLAGS, ListFormat, StructFormat
from benchrig.values.text import TextFormat
from benchrig.values.times import DateTimeFormat

JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.decimals() | st.fractions() | st.text(max_size=20)
    | st.binary(max_size=20) | st.sampled_from([10**60, -(10**4000), 5e-324, "NaN", "not known", object(), {1}, (2,)]),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.text(max_size=3) | st.sampled_from(["flags", "heart_rate", "lower"]) | st.integers(), inner),
    max_leaves=4,
)  # fmt: skip


@st.composite
def bytes_for(draw: st.DrawFn, form: Format) -> bytes:
    """Bytes of a length and layout that fit the format; some of their values may still be prohibited."""
    if isinstance(form, StructFormat):
        return draw(_struct_bytes(form))
    if isinstance(form, ListFormat):
        count = draw(st.integers(form.least, 4)) if form.count is None else form.count
        return b"".join(draw(bytes_for(form.item)) for _ in range(count))
    if isinstance(form, BooleanFormat):
        return draw(st.sampled_from([b"\0", b"\1"]))
    if isinstance(form, IntegerFormat):
        pattern = draw(_legal_raw(form)) & ((1 << form.bits) - 1)
        return pattern.to_bytes(form.size, form.order)
    if isinstance(form, DateTimeFormat):
        year, month, day, hour = (draw(st.integers(*ends)) for ends in ((1990, 2050), (0, 12), (0, 28), (0, 23)))
        return year.to_bytes(2, "little") + bytes([month, day, hour, 5, 59])
    if isinstance(form, DecimalFormat):
        return draw(st.from_regex(r"[+-]?[0-9]{1,9}(\.[0-9]{1,6})?", fullmatch=True, alphabet="+-.0123456789")).encode()
    if isinstance(form, TextFormat):
        return draw(st.text(max_size=8)).encode("utf-8" if form.coding == "utf8" else "utf-16-le")
    return draw(st.binary(max_size=20) if form.size is None else st.binary(min_size=form.size, max_size=form.size))


@st.composite
def _struct_bytes(draw: st.DrawFn, form: StructFormat) -> bytes:
    data, flags = b"", 0
    for item in form.items:
        if item.present(flags):
            part = draw(bytes_for(item.format))
            flags = int.from_bytes(part, "little") if item.name == FLAGS else flags
            data += part
    return data


def _legal_raw(form: IntegerFormat) -> st.SearchStrategy[int]:
    words = st.sampled_from(list(form.words)) if form.words else st.nothing()
    if form.only_words:
        return words
    low = form.lowest if form.valid.low is None else _raw(form, form.valid.low)
    high = form.highest if form.valid.high is None else _raw(form, form.valid.high)
    return st.integers(low, min(high, form.highest)).map(lambda raw: raw & ~form.rfu) | words


def _raw(form: IntegerFormat, value: Fraction) -> int:
    return round((value - form.offset) / form.scale)
