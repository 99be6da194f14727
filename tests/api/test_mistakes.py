"""Mistakes of who asks: what `check` says of a plan with the same mistake, with the place of the call."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

from benchrig import OpenedRadio, PlanError, Quantity
from benchrig.api.words import node
from benchrig.plan.loader import load_plan
from benchrig.source.nodes import plain
from benchrig.source.problem import Place, Problems, Source
from benchrig.source.references import is_marked
from benchrig.source.yaml import read_file
from benchrig.steps import KINDS
from tests.api.kit import python
from tests.run.faults import FAULTS

MISTAKES = [
    "an unknown key", "an unknown attribute", "a limit that cannot apply",
    "a counter that is not a number",
]  # fmt: skip
HERE = Place(Source("test.py", ""), 7, 5)


@pytest.mark.parametrize("name", MISTAKES)
def test_it_is_told_as_check_does(name: str, tmp_path: Path) -> None:
    fault = FAULTS[name]()
    file, names = tmp_path / "plan.yaml", tmp_path / "names.yaml"
    file.write_text(fault.plan, "utf-8")
    with pytest.raises(PlanError) as by_check:
        load_plan(file, {})
    written: Any = plain(read_file(file, Problems()))  # type: ignore[arg-type]
    attributes = fault.plan.partition("  attributes:\n")[2].partition("\nsteps:")[0]
    names.write_text(f"attributes:\n{attributes}\n" if attributes else "attributes: {a: {uuid: 2A19}}\n", "utf-8")
    keys = written["steps"][-1]
    verb = next(iter(keys.keys() & KINDS.keys()))

    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1", for_="300 ms")
        async with unit.connect() as link:
            await link.step(verb, keys.pop(verb), **keys)

    left = python(test, *(fault.devices or [_device()]), names=names)
    assert isinstance(left.error, PlanError)
    told = [(problem.message, problem.advice) for problem in by_check.value.problems]
    assert [(problem.message, problem.advice) for problem in left.error.problems] == told
    assert "test_mistakes.py:" in str(left.error)
    assert (left.record.verdict, left.record.cause) == ("error", "plan")


def _device() -> str:
    return FAULTS["a value outside its limit"]().devices[0]


@pytest.mark.parametrize(
    ("data", "value", "written"),
    [
        (5, 5, "5"),
        (0.1, Decimal("0.1"), "0.1"),
        (Decimal("2.50"), Decimal("2.50"), "2.50"),
        (Fraction(1, 3), Fraction(1, 3), "1/3"),
        (True, True, "true"),
        (None, None, "null"),
        (Quantity(2, "°C"), Quantity(2, "°C"), "2 °C"),
        (timedelta(milliseconds=250), Quantity("0.25 s"), "0.25 s"),
        (b"\x01\xa0", b"\x01\xa0", "01 A0"),
        (datetime(2026, 12, 25, 14, 5, 30), "2026-12-25T14:05:30", "2026-12-25T14:05:30"),
        ("${name}", "${name}", "${name}"),
        (Path("a/b"), "a/b", "a/b"),
        (UUID("00002a19-0000-1000-8000-00805f9b34fb"), *["00002a19-0000-1000-8000-00805f9b34fb"] * 2),
    ],
)
def test_data_is_what_a_plan_would_hold(data: object, value: object, written: str) -> None:
    made: Any = node(data, HERE)
    assert (made.value, made.text, made.place) == (value, written, HERE)
    assert type(made.value) is type(value)
    assert not is_marked(made)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({1, 2}, "found a set"),
        (float("nan"), "found the number nan"),
        (object(), "found a object"),
        ({"a": [complex(1)]}, "found a complex"),
        ({(1, 2): 3}, "expected text as a key, found a tuple"),
    ],
)
def test_what_no_plan_holds_has_its_place(data: object, said: str) -> None:
    with pytest.raises(PlanError, match=said) as caught:
        node(data, HERE)
    assert str(caught.value).startswith("test.py:7:5: ")
