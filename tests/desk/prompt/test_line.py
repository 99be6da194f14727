"""Lines as they are typed."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.desk.prompt.line import Quoted, TypedLine, parse, split, take_name
from benchrig.errors import UsageError
from benchrig.radio.table import Characteristic, Service, Table
from benchrig.source.shape import Misfit
from benchrig.values.catalogue import uuid_of
from tests.desk.prompt.kit import NAMES

OPTIONS = {"--as": "FORMAT", "--raw": "HEX", "--read-back": ""}


def table(*names: str) -> Table:
    kinds = [Characteristic(number, str(uuid_of(name)), ("read",)) for number, name in enumerate(names, 2)]
    return Table((Service(1, str(uuid_of("battery", "service")), tuple(kinds)),))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", []),
        ("  read   battery level ", ["read", "battery", "level"]),
        ("""write note "two  words" 'it"s'""", ["write", "note", "two  words", 'it"s']),
        ("write motion speed='2 m/s'", ["write", "motion", "speed=2 m/s"]),
        ("write note ''", ["write", "note", ""]),
    ],
)
def test_words(text: str, words: list[str]) -> None:
    assert split(text) == words


def test_a_quote_that_is_not_closed_is_said() -> None:
    with pytest.raises(UsageError, match="not closed"):
        split('write note "a')


@given(st.text())
def test_any_line_has_words_or_an_open_quote(text: str) -> None:
    with contextlib.suppress(UsageError):
        assert all(isinstance(word, str) for word in split(text))


def test_an_option_has_all_words_up_to_the_next_one() -> None:
    line = parse(split("write command --raw 81 00 --read-back"), OPTIONS)
    assert line == TypedLine("write", ("command",), {"--raw": "81 00", "--read-back": ""})


def test_words_behind_an_option_without_a_value_belong_to_the_verb() -> None:
    assert parse(split("write a --read-back 8 °C"), OPTIONS).words == ("a", "8", "°C")


def test_in_quotes_it_is_no_option() -> None:
    assert parse(split("write note '--as'"), OPTIONS).words == ("note", "--as")


@pytest.mark.parametrize(
    ("text", "said"),
    [("read a --az x", "no option '--az'"), ("read a --as", "needs a value"), ("read a --as x --as y", "given twice")],
)
def test_options_that_make_no_sense(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse(split(text), OPTIONS)


@pytest.mark.parametrize(
    ("words", "name", "rest"),
    [
        ("battery level", "battery level", ()),
        ("alarm limit 8 °C", "alarm limit", ("8", "°C")),
        ("battery level temperature", "battery level", ("temperature",)),
        ("handle 0x0012 01 A0", "handle 0x0012", ("01", "A0")),
        ("battery service/battery level 5 %", "battery service/battery level", ("5", "%")),
        ("'note' 'two words'", "note", ("two words",)),
        ("2A19 5 %", "2A19", ("5", "%")),
    ],
)
def test_a_name_is_told_from_what_stands_behind_it(words: str, name: str, rest: tuple[str, ...]) -> None:
    assert take_name(split(words), NAMES, None) == (name, rest)


def test_the_name_that_the_device_has_comes_before_a_longer_one() -> None:
    # 'temperature' (2A6E) and 'temperature 8' (2B0D) are both assigned names (Bluetooth SIG assigned numbers)
    assert take_name(split("temperature 8 °C"), NAMES, table("temperature")) == ("temperature", ("8", "°C"))
    assert take_name(split("temperature 8 °C"), NAMES, table("temperature 8")) == ("temperature 8", ("°C",))
    assert take_name(split("temperature 8 °C"), NAMES, table("battery level"))[0] == "temperature 8"


def test_an_unknown_name_is_said_without_the_value() -> None:
    with pytest.raises(Misfit) as caught:
        take_name(split("alarm limti 8 °C"), NAMES, None)
    assert (caught.value.message, caught.value.advice) == (
        "unknown attribute 'alarm limti'",
        "did you mean 'alarm limit'?",
    )
    with pytest.raises(Misfit):
        take_name([Quoted("alarm limti")], NAMES, None)
