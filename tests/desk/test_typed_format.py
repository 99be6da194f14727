"""A format as options say it."""

from __future__ import annotations

import pytest

from benchrig.cli.desk import FORMAT_OPTIONS
from benchrig.desk.typed_format import beside, typed_format
from benchrig.source.shape import Misfit
from benchrig.values.format import build_format


@pytest.mark.parametrize(
    ("options", "data", "value"),
    [
        ({"--as": "sint16", "--scale": "0.01", "--unit": "°C"}, "20 03", 8),
        ({"--as": "uint16", "--order": "big"}, "03 20", 800),
        ({"--as": "uint8", "--offset": "-40", "--unit": "°C"}, "30", 8),
        ({"--as": "uint8", "--scale": "1/2", "--offset": "0.5"}, "03", 2),
        ({"--as": "utf8", "--length": "2"}, "41 42", "AB"),
        ({"--as": "uint8", "--rfu": "0xF0", "--valid-min": "1", "--valid-max": "3"}, "03", 3),
    ],
)
def test_the_options_make_the_format_of_a_plan(options: dict[str, str], data: str, value: object) -> None:
    spec = typed_format(options)
    assert spec is not None
    assert build_format(spec).decode(bytes.fromhex(data)) == value


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"--offset": "1"}, "--offset goes with --as"),
        ({"--as": "uint8", "--offset": "much"}, "--offset: expected a number"),
        ({"--as": "uint8", "--scale": "1/0"}, "divides by zero"),
        ({"--as": "uint16", "--order": "middle"}, "little or big"),
        ({"--as": "utf8", "--scale": "2"}, "scale"),
        ({"--as": "hex", "--length": "long"}, "--length: expected a whole number"),
    ],
)
def test_options_that_make_no_format_are_said(options: dict[str, str], said: str) -> None:
    with pytest.raises(Misfit) as caught:
        typed_format(options)
    assert said in caught.value.message


def test_without_any_there_is_none() -> None:
    assert typed_format({"--raw": "01"}) is None


def test_the_commands_have_an_option_for_each_key_that_is_a_single_value() -> None:
    assert {option: metavar for option, (metavar, _) in FORMAT_OPTIONS.items()} == {"--as": "FORMAT"} | {
        option: one.metavar for option, one in beside().items()
    }
