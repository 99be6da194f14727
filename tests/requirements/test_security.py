"""Every defect of security is found in its step, the sound unit passes, and without that step the plan is blind."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.radios import air_on_tcp, run_on
from tests.requirements.security import DEFECTS, Defect
from tests.run.kit import run

AIRS = ["kind", pytest.param("rough", marks=pytest.mark.slow)]
SOUND = {(one.unit, one.steps): one for one in DEFECTS}  # one plan finds several
every_defect = pytest.mark.parametrize("one", DEFECTS, ids=lambda one: one.name)


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("one", SOUND.values(), ids=lambda one: one.name)
def test_the_sound_unit_passes(one: Defect, air: str) -> None:
    ran = one.run(one.sound, air=air)
    assert (ran.ended.verdict, ran.ended.exit_code) == ("pass", 0), ran.ended.message
    assert (ran.tasks_left, ran.stray) == (0, [])


@pytest.mark.parametrize("air", AIRS)
@every_defect
def test_the_defect_is_found_in_its_step(one: Defect, air: str) -> None:
    ended = (ran := one.run(one.twin, air=air)).ended
    root = next((each.planned.name for each in ran.record.executions if each.where == ended.root), None)
    assert (root, ended.cause, ended.exit_code) == (one.fails, one.cause, 1), ended.message
    said = ended.message + "".join(str(reading.value) for step in ran.record.executions for reading in step.readings)
    assert one.says in said


@every_defect
def test_without_this_step_the_plan_misses_the_defect(one: Defect) -> None:
    ran = run(one.blind_plan, one.twin, given=one.given)
    assert ran.ended.verdict == "pass", ran.ended.message


# Those that need no console, which is at the other end there.
ON_HCI = [
    "a value that anybody reads",
    "a stream that just works may hear",
    "legacy pairing is enough",
    "a bonded address in place of the key",
    "nobody is asked whether he may",
    "any passkey will do",
    "just works will do",
    "legacy pairing will do",
    "a short key will do",
]


@pytest.mark.slow
@pytest.mark.timeout(120)
@pytest.mark.parametrize("name", ON_HCI)
def test_on_a_controller_of_its_own(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))  # a station without bonds
    [one] = [each for each in DEFECTS if each.name == name]
    (tmp_path / "plan.yaml").write_text(one.plan, encoding="utf-8")
    for device, expected in ((one.sound, (None, None, 0)), (one.twin, (one.fails, one.cause, 1))):
        (tmp_path / "device.yaml").write_text(device, encoding="utf-8")
        with air_on_tcp(tmp_path / "device.yaml") as radio:
            record = run_on(radio, tmp_path / "plan.yaml", tmp_path / f"run {expected[2]}").record
        ended = record.ended
        assert ended is not None
        root = next((each.planned.name for each in record.executions if each.where == ended.root), None)
        assert (root, ended.cause, ended.exit_code) == expected, ended.message


def test_there_are_twenty_five_of_them() -> None:
    assert len({one.name for one in DEFECTS}) == len(DEFECTS) >= 25
