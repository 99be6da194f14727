"""Plans and devices as data: what is written is read as just this, what no file can hold is refused with its path."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig import Quantity
from benchrig.errors import BenchrigError, PlanError, UsageError
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from benchrig.testing import device_of, load_device, load_plan, plan_of, run_plan, text_of

PLAIN = st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.decimals(-1000, 1000, places=3) | st.text()
DATA = st.recursive(PLAIN, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=6)


@given(st.dictionaries(st.text(), DATA, min_size=1))
def test_what_is_written_is_read_as_just_this(data: dict[str, Any]) -> None:
    problems = Problems()
    node = read_text(text_of(data), "data", problems)
    assert not problems.found
    assert node is not None
    assert plain(node) == whole(data)


def whole(data: Any) -> Any:
    """Half of a surrogate pair is no character, and is written as U+FFFD."""
    if isinstance(data, str):
        return re.sub("[\ud800-\udfff]", "\ufffd", data)
    if isinstance(data, dict):
        return {whole(key): whole(value) for key, value in data.items()}
    return [*map(whole, data)] if isinstance(data, list) else data


def test_bytes_quantities_and_fractions_are_written_as_plans_have_them() -> None:
    data = {
        "raw": b"\x01\xa0",
        "max": Quantity(4.5, "°C"),
        "half": Fraction(1, 2),
        "part": 0.1,
        "many": (1, Decimal("2.50")),
    }
    lines = text_of(data).splitlines()
    assert lines == ["raw: '01 A0'", "max: 4.5 °C", "half: 0.5", "part: 0.1", "many:", "  - 1", "  - 2.5"]


def test_all_that_no_file_can_hold_is_told_with_its_path() -> None:
    circle: dict[str, Any] = {}
    circle["again"] = circle
    with pytest.raises(UsageError) as caught:
        text_of({"a": [1, {2}, {"b": object(), "c": float("nan")}], (1, 2): 0, "third": Fraction(1, 3), "d": circle})
    told = caught.value.message.splitlines()
    assert told[:3] == [
        "a[1]: expected text, a number, a mapping or a list, found set",
        "a[2].b: expected text, a number, a mapping or a list, found object",
        "a[2].c: expected a number that a file can hold, found nan",
    ]
    assert told[3].startswith("(1, 2): expected text")
    assert told[4].startswith("third: expected a number that a file can hold")
    assert "expected at most 32 levels, found more" in told[5]


LEVEL = {"battery": {"battery level": "88 %"}}
WRONG = [
    (lambda: load_plan(plan_of({"red": "battery level"})), "plan.yaml:8:5: no verb in this step", "did you mean 'read'?"),
    (lambda: load_plan(plan_of({"read": "batery level"}), folder=Path("some")), "some/plan.yaml:8:11", "battery level"),
    (lambda: run_plan(plan_of(), device_of("unit 1", {"batery": {}})), "device 1.yaml:3:14", "did you mean 'battery'?"),
    (lambda: run_plan(plan_of(), device_of(), device_of()), "device 2.yaml:1:9: a second device with the name 'unit 1'", ""),
    (lambda: run_plan(plan_of(), Path("nothing.yaml")), "nothing.yaml:1:1: cannot be read", ""),
    (lambda: run_plan("plan.yaml", device_of()), "expected the text of a plan, found 'plan.yaml'", "write Path('plan.yaml')"),
    (lambda: run_plan(plan_of(), "my.yml"), "expected the text of a device file, found 'my.yml'", "write Path('my.yml')"),
    (lambda: run_plan(plan_of(), device_of(), air="ruff"), "unknown air 'ruff'", "rough"),
    (lambda: load_plan(plan_of(given={"a": {}}), {"b": "1"}), "'b'", ""),
    (lambda: load_plan(plan_of(given={"a": {}}), {"a": [1]}), "expected text or a number for the given value 'a'", ""),
    (lambda: load_device({"devices": [device_of("a"), device_of("b")]}), "expected one device, found 2", "for each"),
]  # fmt: skip


@pytest.mark.parametrize(("wrong", "said", "advice"), WRONG)
def test_what_is_wrong_is_told_with_its_place(wrong: Any, said: str, advice: str) -> None:
    with pytest.raises(BenchrigError) as caught:
        wrong()
    assert said in str(caught.value)
    assert advice in f"{caught.value} {caught.value.advice}"


def test_all_problems_of_the_devices_are_told_at_once() -> None:
    with pytest.raises(PlanError) as caught:
        run_plan(plan_of(), device_of("a", {"batery": {}}), device_of("b", rssi="loud"))
    assert [str(each.place).partition(":")[0] for each in caught.value.problems] == ["device 1.yaml", "device 2.yaml"]


def test_a_device_can_be_read_changed_and_handed_over() -> None:
    device = load_device(device_of("unit 1", LEVEL, mtu=23))
    assert isinstance(device, DeviceSpec)
    assert (device.name, device.mtu) == ("unit 1", 23)
    plan = plan_of({"read": "battery level", "expect": {"value": {"equals": "88 %"}}})
    assert run_plan(plan, device).record.verdict == "pass"


def test_a_plan_as_data_is_the_plan_as_text() -> None:
    data = plan_of(
        {"read": "battery level", "name": "unit ${serial}"},
        finally_=[{"wait": "1 s"}],
        given={"serial": {"default": "7"}},
    )
    text = text_of(data)
    assert "finally:\n  - wait: 1 s\n" in text
    one, other = load_plan(data, {"serial": 8}), load_plan(text, {"serial": "8"})
    assert (one.hash, one.values) == (other.hash, other.values)
