"""A format as options say it."""

from __future__ import annotations

import pytest

from benchrig.desk.typed_format import typed_format
from benchrig.source.shape import Misfit
from benchrig.values.format import build_format


@pytest.mark.parametrize(
    ("options", "data", "value"),
    [
        ({"--as": "sint16", "--scale": "0.01", "--unit": "°C"}, "20 03", 8),
        ({"--as": "uint16", "--order": "big"}, "03 20", 800),
        ({"--as": "uint8", "--offset": "-40", "--unit": "°C"}, "30", 8),
        ({"--as": "uint8", "--scale": "1/2", "--offset": "0.5"}, "03", 2),
    ],
)
def test_the_options_make_the_format_of_a_plan(options: dict[str, str], data: str, value: float) -> None:
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
    ],
)
def test_options_that_make_no_format_are_said(options: dict[str, str], said: str) -> None:
    with pytest.raises(Misfit) as caught:
        typed_format(options)
    assert said in caught.value.message


def test_without_any_there_is_none() -> None:
    assert typed_format({"--raw": "01"}) is None
