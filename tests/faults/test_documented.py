"""The reference names each kind of each family, and none that there is not."""

from __future__ import annotations

import re

import pytest

from benchrig.faults.registry import FAMILIES, faults_of
from tests.faults.small import HERE, scene_of
from tests.faults.test_registry import FILES as SHIPPED
from tests.reference import SECTIONS

DEVICE_FILES = [*SHIPPED, *(HERE / f"{name}.yaml" for name in ("small", "odd", "beacon", "busy"))]
# The section of each family; a new one gets its own on the same page.
SECTION = {"value": "Faults of values", "table": "Faults of a table", "advertising": "Faults of advertising",
           "stream": "Faults of streams", "write": "Faults of writes", "exchange": "Faults of exchanges",
           "link": "Faults of links", "firmware": "Faults of firmware", "security": "Faults of security and pairing",
           "bench": "Faults of the bench"}  # fmt: skip


def documented(family: str) -> list[re.Pattern[str]]:
    kinds = [kind for row in SECTIONS[SECTION[family]].table("kind") for kind in re.findall("`([^`]+)`", row["kind"])]
    return [re.compile(re.escape(kind).replace("…", ".+")) for kind in kinds]


def made(family: str) -> set[str]:
    """The kinds of all device files."""
    found = [fault for path in DEVICE_FILES for fault in faults_of(scene_of(path), families=[family])]
    return {fault.name.partition(": ")[2] for fault in found}


def test_each_family_has_its_section() -> None:
    assert {*SECTION} == {*FAMILIES}


@pytest.mark.slow
@pytest.mark.parametrize("family", SECTION)
def test_each_kind_has_a_row(family: str) -> None:
    rows = documented(family)
    assert [kind for kind in sorted(made(family)) if not any(row.fullmatch(kind) for row in rows)] == []


@pytest.mark.slow
@pytest.mark.parametrize("family", SECTION)
def test_each_row_is_of_a_kind(family: str) -> None:
    kinds = made(family) | {"refused text"}  # which takes a plan: test_kinds.py
    assert [row.pattern for row in documented(family) if not any(map(row.fullmatch, kinds))] == []
