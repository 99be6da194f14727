"""What holds for every format and every definition, whatever the bytes and whatever the value."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.assigned import assigned
from benchrig.values.base import Format
from benchrig.values.format import FormatSpec, build_format, format_names
from benchrig.values.spec import Exact
from tests.values.strategies import JUNK, bytes_for

FORMATS: dict[str, Format] = {name: build_format(FormatSpec(as_=name)) for name in format_names()}
FORMATS |= {
    f"{name}{order}{scale}": build_format(FormatSpec(as_=name, order=order, scale=Exact(scale), offset=Exact(offset)))
    for name in ("uint8", "sint16", "uint24", "uint64", "sint128")
    for order, scale, offset in (("big", "0.01", "0"), ("little", "1/3", "-40"), ("big", "-7", "0.1"))
}
for uuid in assigned().definitions:
    definition = catalogue.definition(uuid)
    assert definition is not None
    FORMATS[uuid] = definition

# Several patterns say one number, or one word.
AMBIGUOUS = ("medfloat", "float", "decimal")


def attempt(call: Callable[[Any], Any], argument: Any) -> Any:
    """What the call returns, or the MalformedValue that it raises; any other exception fails the test."""
    try:
        return call(argument)
    except MalformedValue as refused:
        return refused


@settings(max_examples=8, deadline=None)
@pytest.mark.parametrize("name", FORMATS)
@given(data=st.data())
def test_a_value_survives_encoding(name, data):
    survives(name, data.draw(bytes_for(FORMATS[name])))


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@pytest.mark.parametrize("name", FORMATS)
@given(data=st.data())
def test_many_values_survive_encoding(name, data):
    survives(name, data.draw(bytes_for(FORMATS[name])))


def survives(name: str, octets: bytes) -> None:
    form = FORMATS[name]
    value = attempt(form.decode, octets)
    assume(not isinstance(value, MalformedValue))

    assert form.decode(form.encode(value)) == value
    if not any(part.describe().startswith(AMBIGUOUS) for part in [form, *form.leaves().values()]):
        assert form.encode(value) == octets or str(name).startswith(("uint64", "sint128"))


@settings(max_examples=50, deadline=None)
@given(octets=st.binary(max_size=24))
def test_any_bytes_decode_or_are_refused_in_words(octets):
    for name, form in FORMATS.items():
        value = attempt(form.decode, octets)

        assert not isinstance(value, MalformedValue) or value.message, name


@settings(max_examples=50, deadline=None)
@given(value=JUNK)
def test_any_value_encodes_or_is_refused_in_words(value):
    for name, form in FORMATS.items():
        data = attempt(form.encode, value)

        assert data.message if isinstance(data, MalformedValue) else form.size in (None, len(data)), name


@given(octets=st.binary(max_size=8))
def test_any_presentation_format_is_a_format_or_refused(octets):
    form = attempt(catalogue.format_from_presentation, octets)

    assert form.message if isinstance(form, MalformedValue) else form.describe()
