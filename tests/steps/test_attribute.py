"""How a plan names attributes. UUIDs of the Bluetooth SIG's assigned numbers; the base UUID is of Core Vol 3 Part B 2.5.1."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.radio.table import Segment
from benchrig.source.problem import Problems
from benchrig.source.shape import BAD, Misfit, Reader
from benchrig.source.yaml import read_text
from benchrig.steps.attribute import AttributeName, AttributeSpec, Names, Uuid

OWN = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"


def base(short: str) -> str:
    return f"0000{short}-0000-1000-8000-00805f9b34fb"


NAMES = Names(
    {
        "alarm limit": AttributeSpec(uuid=Uuid(OWN), as_="sint16"),
        "hidden": AttributeSpec(handle=0x12, as_="uint8"),
        "second": AttributeSpec(uuid=Uuid(OWN), index=1, service="battery service"),
        "temperature": AttributeSpec(uuid=Uuid(base("2a1c"))),
    }
)


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("humidity", [(base("2a6f"), None)]),
        ("Humidity", [(base("2a6f"), None)]),
        ("environmental sensing/humidity", [(base("181a"), None), (base("2a6f"), None)]),
        ("battery service / battery level", [(base("180f"), None), (base("2a19"), None)]),
        ("humidity/valid range", [(base("2a6f"), None), (base("2906"), None)]),
        ("humidity[1]", [(base("2a6f"), 1)]),
        ("0x2A6F", [(base("2a6f"), None)]),
        ("2A6F", [(base("2a6f"), None)]),
        (OWN.upper(), [(OWN, None)]),
        ("alarm limit", [(OWN, None)]),
        ("alarm limit[2]", [(OWN, 2)]),
        ("second", [(base("180f"), None), (OWN, 1)]),
        ("temperature", [(base("2a1c"), None)]),
    ],
)
def test_a_name_is_a_path_of_uuids(name, path):
    assert NAMES.meaning(name).address.path == tuple(Segment(uuid, index) for uuid, index in path)


@pytest.mark.parametrize(("name", "handle"), [("handle 0x0012", 0x12), ("handle 0xFFFF", 0xFFFF), ("hidden", 0x12)])
def test_a_handle(name, handle):
    assert NAMES.meaning(name).address.handle == handle


def test_the_format_comes_from_the_alias_or_the_assigned_number():
    assert NAMES.meaning("alarm limit").format.size == 2
    assert NAMES.meaning("humidity").format.unit == "%"
    assert NAMES.meaning("second/alarm limit").format.size == 2
    assert NAMES.meaning("0x1234").format is None


@pytest.mark.parametrize("name", ["", "/", "a/", "a[", "a[x]", "a[12345]", "[1]", "a[1]b", "a//b"])
def test_what_is_no_name(name):
    with pytest.raises(Misfit, match="is not the name of an attribute"):
        AttributeName.from_source(name)


@given(st.text(max_size=30))
def test_any_text_is_a_name_with_a_meaning_or_a_misfit(text):
    with suppress(Misfit):
        assert NAMES.meaning(AttributeName.from_source(text)).name == text


def uuid(text: str):
    problems = Problems()
    read = Reader(problems).read(read_text(text, "x", problems), Uuid)
    return problems.found[0].message if read is BAD else read


@pytest.mark.parametrize("text", ["0x2A6E", "'2A6E'", "'0x2a6e'", base("2a6e"), "'00002A6E'"])
def test_ways_to_write_a_uuid(text):
    assert uuid(text) == base("2a6e")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2902", "the UUID 2902 is written as a decimal number"),
        ("0x12345", "74565 is not a 16-bit UUID"),
        ("'2A6'", "'2A6' is not a UUID"),
        ("-1", "-1 is not a 16-bit UUID"),
        ("true", "expected a UUID, found true"),
        ("[0x2A6E]", "expected a UUID, found a list"),
        ("2902.5", "expected a UUID, found the number 2902.5"),
    ],
)
def test_what_is_no_uuid(text, said):
    assert uuid(text) == said


def test_names_for_people():
    assert NAMES.label(OWN) in ("alarm limit", "second")
    assert NAMES.label(base("2a6f")) == "humidity"
    assert NAMES.label(base("fff0")) == "FFF0"


@pytest.mark.parametrize(
    ("name", "advice"),
    [
        ("alarm limti", "did you mean 'alarm limit'?"),
        ("temprature", "did you mean 'temperature', "),
        ("heart rate", "did you mean 'heart rate max' or 'heart rate measurement'"),
        ("setpoint", "bring it"),  # 'dew point' is an assigned name
        ("nothing", "bring it"),
        ("0x3", "a handle is written 'handle 0x3'"),
    ],
)
def test_an_unknown_name_leads_to_what_can_have_been_meant(name: str, advice: str) -> None:
    with pytest.raises(Misfit) as caught:
        Names(NAMES.aliases, advice="bring it").meaning(name)
    assert caught.value.advice.startswith(advice)
