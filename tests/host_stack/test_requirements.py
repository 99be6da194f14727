"""Ten requirements and more on the stack of Linux: the sound unit passes, its twin fails where it is broken."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from tests.host_stack.conftest import Boot
from tests.requirements import ALL
from tests.requirements.kit import Entry, entries

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
PARTS = 2


@pytest.mark.parametrize("part", range(PARTS))
def test_requirements_on_the_stack_of_linux(boot: Boot, tmp_path: Path, part: int) -> None:
    listed = entries(ALL, tmp_path)[part::PARTS]
    devices = [entry.write() for entry in listed]
    job = "".join(
        f"python3 -m benchrig run {entry.plan} --radio host -q --acknowledge --results out/{entry.number}\n"
        for entry in listed
    )
    out = boot(f"{job}true\n", *devices, within=580).out
    assert [wrong for entry in listed if (wrong := _wrong(entry, out))] == []


def _wrong(entry: Entry, out: Path) -> str:
    records = [*out.glob(f"{entry.number}/*/record.jsonl")]
    return entry.wrong(read_record(records[0])) if records else f"{entry.one.name}: not run"
