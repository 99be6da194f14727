from __future__ import annotations

import pytest

from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.format import Format, FormatSpec, build_format
from tests.values.worked_examples import EXAMPLES, FLOATS, PRESENTATIONS, Example, FloatExample, PresentationExample

AnyExample = Example | FloatExample


def format_of(example: AnyExample) -> Format:
    if isinstance(example, FloatExample):
        return build_format(FormatSpec(as_=example.format))
    form = catalogue.definition(int(example.uuid, 16))
    assert form is not None
    return form


def examples(*, wrong: bool = False) -> list[AnyExample]:
    return [example for example in [*EXAMPLES, *FLOATS] if bool(example.error) == wrong]


@pytest.mark.parametrize("example", examples(), ids=str)
def test_decodes(example: AnyExample):
    value = format_of(example).decode(example.octets)

    assert value == example.value
    assert type(value) is type(example.value) or isinstance(value, str)


@pytest.mark.parametrize("example", [one for one in examples() if one.encodes_back], ids=str)
def test_encodes_back(example: AnyExample):
    assert format_of(example).encode(example.value) == example.octets


@pytest.mark.parametrize("example", [one for one in examples() if not one.encodes_back], ids=str)
def test_encodes_to_other_bytes_of_the_same_value(example: AnyExample):
    form = format_of(example)

    data = form.encode(example.value)

    assert data != example.octets
    assert form.decode(data) == example.value


@pytest.mark.parametrize("example", examples(wrong=True), ids=str)
def test_refuses(example: AnyExample):
    with pytest.raises(MalformedValue) as refused:
        format_of(example).decode(example.octets)

    assert example.error in refused.value.message


@pytest.mark.parametrize("example", PRESENTATIONS, ids=lambda example: example.descriptor.replace(" ", ""))
def test_presentation_format_decodes(example: PresentationExample):
    form = catalogue.format_from_presentation(bytes.fromhex(example.descriptor))

    assert form.decode(bytes.fromhex(example.data)) == example.value
    assert form.unit == example.unit


def test_every_definition_has_a_worked_example_or_a_test():
    """The characteristics with more than one octet of meaning are all checked against something outside."""
    with_fields = {
        uuid
        for uuid in catalogue.characteristics().values()
        if (form := catalogue.definition(uuid)) is not None and form.leaves()
    }
    shown = {int(example.uuid, 16) for example in EXAMPLES}

    assert {f"{uuid:04X}" for uuid in with_fields - shown} == {
        "2A05", "2A0A", "2A0C", "2A14", "2A1E", "2A36", "2A49"  # test_definitions.py
    }  # fmt: skip
