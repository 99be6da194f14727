"""Steps that Python asks for: what they return and raise, and what the record says of them."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig import LimitFailed, OpenedRadio, PlanError, Quantity, StepFailed
from tests.api.kit import python
from tests.run.kit import device_text

UNIT = device_text(
    """services:
  - service: battery service
    characteristics:
      - characteristic: battery level
        properties: [read, write]
        value: 97 %
"""
)


def test_values_come_with_their_unit_and_limits_raise() -> None:
    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            level = await link.read("battery level", expect={"value": {"min": Quantity(20, "%")}})
            assert level >= Quantity("20 %")
            assert level == Quantity("97 %")
            await link.write("battery level", Quantity("50 %"))
            assert await link.read("battery level") == Quantity("50 %")
            with pytest.raises(LimitFailed, match=r"read battery level \(3\): 50 % is above .* \(bytes 32\)"):
                await link.read("battery level", expect={"value": {"max": "20 %"}})

    left = python(test, UNIT)
    assert (left.error, left.tasks, left.stray) == (None, 0, [])
    assert left.verdicts == ["pass"] * 5 + ["fail", "pass"]
    assert left.record.ended is not None
    assert (left.record.ended.verdict, left.record.ended.cause) == ("fail", "limit")
    assert left.record.steps[2].planned.place.startswith("tests/api/test_link.py:")


def test_a_guard_band_in_python() -> None:
    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            guard = {"rule": "ISO 14253-1", "expanded": Quantity(1, "%"), "k": 2}
            await link.read("battery level", expect={"value": {"max": "98 %", "guard": guard}})
            guard["expanded"] = Quantity(2, "%")
            with pytest.raises(
                LimitFailed, match="97 % is not shown to conform: above the acceptance limit 96 % by 1 %"
            ):
                await link.read("battery level", expect={"value": {"max": "98 %", "guard": guard}})

    left = python(test, UNIT)
    assert (left.error, left.verdicts[-2:]) == (None, ["fail", "pass"])


def test_what_is_tolerated_decides_nothing() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            with link.tolerating(), pytest.raises(LimitFailed):
                await link.read("battery level", expect={"value": {"max": "20 %"}})
            await link.read("battery level", expect={"value": {"min": "20 %"}})

    left = python(test, UNIT)
    assert left.record.ended is not None
    assert (left.error, left.record.ended.verdict) == (None, "pass")
    assert left.verdicts == ["pass", "pass", "fail", "pass", "pass"]


def test_a_mistake_is_told_like_one_of_a_plan_and_is_never_green() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            with pytest.raises(PlanError) as caught:
                await link.read("battery levl", expect={"value": {"max": "20 V"}}, atempts=3)
            text = str(caught.value)
            assert "test_link.py:" in text
            assert "unknown key 'atempts'" in text
            with pytest.raises(PlanError, match="did you mean 'battery level'"):
                await link.read("battery levl")
            with pytest.raises(PlanError, match="expected text, a number"):
                await link.write("battery level", {1, 2})

    left = python(test, UNIT)
    assert left.record.ended is not None
    assert (left.error, left.record.ended.cause) == (None, "plan")


def test_an_assertion_of_the_caller_fails_the_run() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            assert await link.read("battery level") < Quantity("20 %")

    left = python(test, UNIT)
    assert isinstance(left.error, AssertionError)
    assert left.record.ended is not None
    assert (left.record.ended.verdict, left.record.ended.cause) == ("fail", "limit")


async def _tolerated(radio: OpenedRadio) -> None:
    async with (await radio.find("unit 1")).connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})
        with link.tolerating():
            await link.read("battery level", expect={"value": {"max": "20 %"}})


async def _own(radio: OpenedRadio) -> None:
    async with (await radio.find("unit 1")).connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})
        raise StepFailed("the lamp is dark")


class Verdict(BaseException):
    """As frameworks have one."""


async def _framework(radio: OpenedRadio) -> None:
    async with (await radio.find("unit 1")).connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})
        raise Verdict("it flickers")


async def _unsaid(radio: OpenedRadio) -> None:
    async with (await radio.find("unit 1")).connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})
    await radio.find()


@pytest.mark.parametrize(
    ("test", "verdict", "cause", "said"),
    [
        (_tolerated, "fail", "limit", "97 % is above the maximum 20 %"),
        (_own, "fail", "limit", "the lamp is dark"),
        (_framework, "error", "plan", "the Python code raised Verdict: it flickers"),
        (_unsaid, "error", "plan", "nothing says which unit is meant"),
    ],
)
def test_what_ends_the_run_is_never_green(test: Any, verdict: str, cause: str, said: str) -> None:
    left = python(test, UNIT)
    assert left.error is not None
    assert (left.record.verdict, left.record.cause) == (verdict, cause)
    assert said in left.record.message
