"""What one run does, or what is done to it, is nothing of those beside it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from benchrig.line.radios import StationRadios
from benchrig.radio.specify import RadioChoice, radio_opener
from benchrig.radio.virtual.clock import run
from benchrig.record.model import Record
from benchrig.testing.sources import load_devices
from tests.line.lent import Test, alone, ended, in_slot, line_of, together
from tests.line.units import Unit, plan_text, several

UNITS = [Unit(number) for number in (1, 2, 3)]
CHOICE = RadioChoice("virtual", devices=tuple(load_devices([several(*UNITS)])))


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return written(tmp_path, plan_text())


def written(folder: Path, text: str) -> Path:
    file = folder / "plan.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def each(plan: Path) -> list[Test]:
    return [Test(plan, unit.number, {"serial": unit.serial}, (unit.at,)) for unit in UNITS]


def with_radio(work: Callable[[StationRadios], Awaitable[Any]]) -> Any:
    async def main() -> Any:
        radios = StationRadios(line_of(3, "virtual:units"), {"only": radio_opener(CHOICE)})
        async with contextlib.AsyncExitStack() as behind:
            behind.push_async_callback(radios.close)
            return await work(radios)

    return run(main())


@pytest.mark.parametrize("after", [0.0, 0.3, 0.55, 0.6])
def test_a_run_that_is_cut_off_holds_up_nobody(plan: Path, after: float) -> None:
    first, *rest = each(plan)

    async def work(radios: StationRadios) -> list[Record]:
        running = [
            asyncio.ensure_future(in_slot(test, str(slot), radios, CHOICE))
            for slot, test in enumerate([first, *rest], 1)
        ]
        await asyncio.sleep(after)
        running[0].cancel()
        with pytest.raises(asyncio.CancelledError):
            await running[0]
        others = await asyncio.gather(*running[1:])
        return [*others, await in_slot(first, "1", radios, CHOICE)]

    assert [ended(record) for record in with_radio(work)] == [("pass", None, [])] * 3


def test_strangers_connect_while_nobody_else_scans(tmp_path: Path) -> None:
    """A controller changes its address only then."""
    text = plan_text(scan="2 s").replace("  - connect:\n", "  - connect:\n    as: stranger\n")
    tests = each(written(tmp_path, text))
    assert [ended(record) for record in together(tests, CHOICE)] == [ended(alone(test, CHOICE)) for test in tests]
    assert ended(alone(tests[0], CHOICE))[0] == "pass"
