"""The schemas that reports are held against say of known documents what the published ones say.

Source: each row was tried on junit-10.xsd (Jenkins xUnit plugin) and on the windyroad JUnit schema of 2022, with two
validators that agreed (lxml, xmlschema).
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from tests.report.schemas import errors

CASE = '<testcase name="n" classname="c" time="0.1">{}</testcase>'
SUITE = (
    '<testsuite package="p" id="0" name="n" tests="1" failures="0" errors="0" skipped="0" time="1.5" '
    'timestamp="2026-01-02T03:04:05" hostname="h"><properties/>{}<system-out/><system-err/></testsuite>'
)
BASE = f"<testsuites>{SUITE.format(CASE.format(''))}</testsuites>"


def inside(child: str) -> str:
    return BASE.replace(CASE.format(""), CASE.format(child))


def changed(old: str, new: str) -> str:
    assert old in BASE
    return BASE.replace(old, new, 1)


ROWS = {
    "the base": (BASE, True, True),
    "the root is the suite": (changed(' package="p" id="0"', "")[12:-13], True, True),
    "a property of the suite": (changed("<properties/>", '<properties><property name="a" value="b"/></properties>'), True, True),
    "failure with type": (inside('<failure type="limit">x</failure>'), True, True),
    "skipped with message": (inside('<skipped message="x"/>'), True, True),
    "no skipped attribute": (changed(' skipped="0"', ""), True, True),
    "six decimals on a case": (changed('time="0.1"', 'time="0.123456"'), True, True),
    "six decimals on the suite": (changed('time="1.5"', 'time="1.234567"'), False, True),
    "a thousands comma": (changed('time="1.5"', 'time="1,234.5"'), True, False),
    "properties in a case": (inside("<properties/>"), False, False),
    "a file of a case": (changed('time="0.1"', 'time="0.1" file="f"'), False, False),
    "a line of a case": (changed('time="0.1"', 'time="0.1" line="1"'), False, False),
    "skipped of testsuites": (changed("<testsuites>", '<testsuites skipped="0">'), False, False),
    "time stamp of testsuites": (changed("<testsuites>", '<testsuites timestamp="2026-01-02T03:04:05">'), False, False),
    "name of testsuites": (changed("<testsuites>", '<testsuites name="x">'), True, False),
    "output in a case": (inside("<system-out/>"), True, False),
    "failure without type": (inside("<failure>x</failure>"), True, False),
    "failure and error": (inside('<failure type="a">x</failure><error type="a">x</error>'), True, False),
    "no classname": (changed(' classname="c"', ""), True, False),
    "no host": (changed(' hostname="h"', ""), True, False),
    "no time stamp": (changed(' timestamp="2026-01-02T03:04:05"', ""), True, False),
    "an empty suite name": (changed('name="n" tests', 'name="" tests'), True, False),
    "a suite in a suite": (changed("<system-out/>", SUITE.format("") + "<system-out/>"), True, False),
    "a zone of Z": (changed("03:04:05", "03:04:05Z"), True, False),
    "a zone of +00:00": (changed("03:04:05", "03:04:05+00:00"), True, False),
    "a fraction of a second": (changed("03:04:05", "03:04:05.5"), True, False),
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS)
def test_junit_10(row: str) -> None:
    document, valid, _ = ROWS[row]
    assert (errors(document.encode(), "junit-10") == []) is valid


@pytest.mark.parametrize("row", ROWS)
def test_ant(row: str) -> None:
    document, _, valid = ROWS[row]
    assert (errors(document.encode(), "ant") == []) is valid


def test_junit_10_is_the_published_file() -> None:
    """sha256 of testing/example_scripts/junit-10.xsd in the pytest 9.2.0 sdist on PyPI."""
    data = Path(__file__).with_name("junit-10.xsd").read_bytes()
    assert hashlib.sha256(data).hexdigest() == "a1a816f58d1bf95ebabf371994df0b9246dee66ea9572fbec4f9296f1b2c0ff6"
