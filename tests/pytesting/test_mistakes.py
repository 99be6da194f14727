"""Mistakes of a newcomer in Python tests: each is an error of cause plan or operator that says what to write; and names."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.pytesting.kit import Session

Start = Callable[..., Session]
QUIET = ["-p", "no:cacheprovider", "-W", "error"]
MISTAKES = """
import pytest
from benchrig import Quantity

pytestmark = [pytest.mark.asyncio, pytest.mark.benchrig(unit="GHP-*")]

async def test_order(benchrig_link):
    assert await benchrig_link.read("battery level") > 3

async def test_unequal(benchrig_link):
    assert await benchrig_link.read("battery level") != 81

async def test_dimension(benchrig_link):
    assert await benchrig_link.read("battery level") > Quantity("3 V")

async def test_await(benchrig_link):
    await benchrig_link.read("battery level", expect={"value": {"min": "20 %"}})
    benchrig_link.read("battery level", expect={"value": {"min": "99 %"}})

async def test_reading(benchrig_link, record_reading):
    record_reading("ripple", 0.4, "V", {"max": "0.1 V"})

@pytest.mark.benchrig(caution="it gets hot")
async def test_caution(benchrig_link):
    await benchrig_link.write("battery level", raw="01")

async def test_key(benchrig_link):
    await benchrig_link.read("battery level", expext={})
"""


def test_a_mistake_of_the_test_is_no_failure_of_the_unit(project: Path, start: Start) -> None:
    (project / "tests/test_mistakes.py").write_text(MISTAKES, "utf-8")
    session = start("tests/test_mistakes.py", *QUIET)
    said, came = session.said, session.came
    assert {name: each for name, each in came.items() if each != "passed"} == {
        "test_order": "error", "test_unequal": "error", "test_dimension": "error", "test_await later": "error",
        "test_reading later": "error", "test_caution": "error", "test_key": "error",
    }, session.text  # fmt: skip
    for name, number in (("test_order", 3), ("test_unequal", 81)):
        assert said[name].startswith(f"error (plan): {number} has no unit, 88 % has one\n  tests/test_mistakes.py:")
        assert f"advice: write Quantity('{number} %')" in said[name]
    assert said["test_dimension"].startswith("error (plan): 88 % is a ratio, 3 V a voltage")
    assert "read battery level was never awaited" in said["test_await later"]
    assert "write await in front of it" in said["test_await later"]
    assert "advice: write await in front of record_reading" in said["test_reading later"]
    assert "tolerating" not in said["test_reading later"]
    advice = "advice: add --benchrig-acknowledge, or benchrig(acknowledged=True) at the test, after you have followed"
    assert said["test_caution"].startswith("error (operator): ")
    assert advice in said["test_caution"]
    assert said["test_key"].startswith("error (plan): ")
    assert said["test_key"].count("expext={}") == 1


NAMES = "attributes:\n  charge: {uuid: 2A19}\n"
PLAN = "plan: Names\ngiven:\n  serial: {default: GHP-*}\ndevice:\n  select: {name: '${serial}'}\n  attributes:\n    charge: {uuid: 2A19}\n"
NAMED = """
import pytest

async def read(link):
    await link.read("charge", expect={"value": {"min": "20 %"}})

@pytest.mark.asyncio
async def test_session(benchrig_link):
    await read(benchrig_link)

@pytest.mark.asyncio
@pytest.mark.benchrig(unit="GHP-*", names="names/own.yaml")
async def test_marker(benchrig_link):
    await read(benchrig_link)

@pytest.mark.benchrig(unit="GHP-*", names="names/own.yaml", given={"serial": "GHP-0007"})
def test_given(benchrig_link_sync):
    pass
"""


def test_names_for_all_tests_or_for_one(project: Path, start: Start) -> None:
    (project / "names").mkdir()
    (project / "names/own.yaml").write_text(NAMES, "utf-8")
    (project / "names/plan.yaml").write_text(PLAN, "utf-8")
    (project / "tests/test_named.py").write_text(NAMED, "utf-8")

    session = start(
        "tests/test_named.py", "--benchrig-names", "names/plan.yaml", "--benchrig-set", "serial=GHP-0007", *QUIET
    )
    assert session.came == {"test_session": "passed", "test_marker": "passed", "test_given": "error"}, session.text
    assert "given: expected a plan that asks for values, found " in session.said["test_given"]

    with (project / "pytest.ini").open("a", encoding="utf-8") as ini:
        ini.write("benchrig_names = names/own.yaml\n")
    session = start("tests/test_named.py", "-k", "session or marker", *QUIET)
    assert session.came == {"test_session": "error", "test_marker": "passed"}
    assert "nothing says which unit is meant" in session.said["test_session"]

    refused = start("tests/test_named.py", "--benchrig-names", "names/none.yaml", *QUIET)
    assert refused.code == pytest.ExitCode.USAGE_ERROR
    assert "there is no file" in refused.text
    assert "names/none.yaml" in refused.text
