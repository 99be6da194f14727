"""No unit gets another's result, whatever is in which slot; the search for it would see one that did."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.line import prover
from benchrig.line.doubled import LastCheck
from benchrig.line.proof import Proven
from tests.line.assignments import TWISTS, drawn, judged
from tests.line.kit import worked
from tests.line.units import Unit

# Lines of all kinds: every way in which slots share radios, every kind of label.
QUICK = (2, 5, 7, 9, 12, 20, 27, 32)


@pytest.mark.parametrize("seed", QUICK)
def test_no_unit_gets_the_result_of_another(seed):
    judge = judged(seed)
    assert not judge.wrong, f"{judge.case}\n" + "\n".join(judge.wrong)


@pytest.mark.slow
@pytest.mark.parametrize("first", range(5000, 5080, 8))
def test_no_unit_gets_the_result_of_another_in_many_lines(first):
    wrong = [(str(judge.case), judge.wrong) for judge in map(judged, range(first, first + 8)) if judge.wrong]
    assert not wrong, "\n".join(f"{case}\n{said}" for case, said in wrong)


def test_a_line_that_takes_the_strongest_unit_is_seen_through(monkeypatch):
    """What this search is for: a proof that proves nothing, and no look at what the run has read."""

    def strongest(scene):
        first = max(scene.heard, key=lambda one: one.at(scene.place.radio), default=None)
        return Proven(first.address, scene.expected.serial) if first else prover_decide(scene)

    async def nothing_wrong(self, record):
        return None

    prover_decide = prover.decide
    monkeypatch.setattr(prover, "decide", strongest)
    monkeypatch.setattr(LastCheck, "__call__", nothing_wrong)
    said = " ".join(text for seed in (4, 10, 22) for text in judged(seed).wrong)
    assert "got the result of" in said
    assert "passed, and alone it is FAIL" in said


def test_the_cases_are_nasty():
    """All that is to be drawn is drawn, often enough."""
    cases = [drawn(seed) for seed in range(300)]
    things = [thing for case in cases for thing in case.things]
    assert {thing.does for thing in things} == {"", *TWISTS}
    assert sum(bool(case.nearby) for case in cases) > 60
    assert sum(case.air == "rough" for case in cases) > 60
    assert len({(tuple(case.slots.values()), case.barcode, case.serial_step) for case in cases}) > 40
    assert 0.2 < sum(thing.does == "" for thing in things) / len(things) < 0.8


def test_a_shift_in_memory(tmp_path):
    async def operate(shift):
        shift.put("1", Unit(1))
        await shift.scan("VFL3-000001")
        await shift.at_rest()
        shift.put("1", Unit(2, battery=20))
        await shift.scan("VFL3-000002")
        await shift.at_rest()
        assert shift.slot("1").word == "FAIL"
        await asyncio.sleep(0)

    done = worked(tmp_path, operate)
    assert [(test.began.serial, test.ended.word) for test in done.tests] == [
        ("VFL3-000001", "PASS"),
        ("VFL3-000002", "FAIL"),
    ]
    assert done.exit_code == 0
