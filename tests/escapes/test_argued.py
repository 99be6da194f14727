"""Arguments for escapes: how their file is read, what they make of a hunt, how what is left to another plan is proved."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.escapes.argued import beside, load_argued
from benchrig.escapes.arguing import Arguing
from benchrig.escapes.hunting import Hunting, NotSound
from benchrig.escapes.results import About, Result
from benchrig.plan.loader import load_plan
from tests.cli.kit import here
from tests.escapes.kit import ALL, HOT, LOW, hunt, plan_of, results, written
from tests.run.kit import PLANS, plan_text

WHO = "why: Nobody reads it.\n    by: Anna Berg\n    date: '2026-11-27'"
HEAD = "plan: plan.yaml\ndevice: device.yaml\nargued:\n"
PRESSURE = "  - read: pressure\n    expect: {value: {min: 100000 Pa}}\n"


def over(folder: Path, entries: str) -> tuple[dict[str, Result], Arguing]:
    path = folder / "argued.yaml"
    path.write_text(HEAD + entries, encoding="utf-8")
    found = results(folder)
    arguing = Arguing(
        hunt(folder), load_argued(path, folder / "plan.yaml"), lambda plan: load_plan(plan, {}), all_faults=True
    )
    return {each.fault.name: each for each in arguing.over(found, {each.name: each for each in ALL})}, arguing


def test_an_escape_that_is_argued_says_who_and_why(tmp_path: Path) -> None:
    found, arguing = over(tmp_path, f"  - faults: 'pressure: *'\n    {WHO}\n")
    low = found[LOW.name]
    assert (low.outcome, low.argument and (low.argument.by, low.argument.date)) == (
        "argued",
        ("Anna Berg", "2026-11-27"),
    )
    assert [each.outcome for each in found.values()].count("argued") == 1
    assert arguing.stale == []


def test_nothing_but_an_escape_is_argued_away_and_what_fits_none_is_stale(tmp_path: Path) -> None:
    entries = (
        f"  - faults: ['temperature: *', 'a radio: ?low']\n    {WHO}\n  - faults: 'battery[1]: stuck'\n    {WHO}\n"
    )
    found, arguing = over(tmp_path, entries)
    assert {each.outcome for each in found.values() if each.argument} == set()
    assert found[HOT.name].outcome == "caught"
    assert arguing.stale == [
        f"{tmp_path}/argued.yaml:4: 'temperature: *', 'a radio: ?low' does not escape any more: take the entry out",
        f"{tmp_path}/argued.yaml:8: the device has no fault 'battery[1]: stuck': take the entry out",
    ]


@pytest.mark.parametrize(
    ("steps", "outcome"), [(PRESSURE, "left"), ("  - read: humidity\n    expect: {value: {max: 50 %}}\n", "escaped")]
)
def test_what_is_left_to_another_plan_is_run_on_it(tmp_path: Path, steps: str, outcome: str) -> None:
    (tmp_path / "nightly.yaml").write_text(plan_text(steps), encoding="utf-8")
    found, arguing = over(tmp_path, f"  - faults: 'pressure: *'\n    left_to: nightly.yaml\n    {WHO}\n")
    assert found[LOW.name].outcome == outcome
    refused = [f"{LOW.name} is left to nightly.yaml, which does not catch it"]
    assert arguing.notes == ([] if outcome == "left" else refused)


def test_a_hunt_that_is_interrupted_while_it_proves_has_proved_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(self: Hunting) -> Iterator[Result]:
        raise KeyboardInterrupt
        yield

    (tmp_path / "nightly.yaml").write_text(plan_text(PRESSURE), encoding="utf-8")
    real = Hunting._results
    monkeypatch.setattr(
        Hunting,
        "_results",
        lambda self: interrupted(self) if self.hunt.plan.path.name == "nightly.yaml" else real(self),
    )
    found, arguing = over(tmp_path, f"  - faults: 'pressure: *'\n    left_to: nightly.yaml\n    {WHO}\n")
    assert (found[LOW.name].outcome, arguing.interrupted, arguing.notes) == ("escaped", True, [])


def test_an_argument_that_fits_much_more_than_escapes_is_told(tmp_path: Path) -> None:
    about = [About(f"note: kind {number}", "value", "minor", "", ["device"]) for number in range(12)]
    tried = [Result(each, "escaped" if at == 0 else "caught") for at, each in enumerate(about)]
    path = tmp_path / "argued.yaml"
    written(tmp_path)
    path.write_text(f"{HEAD}  - faults: 'note: *'\n    {WHO}\n", encoding="utf-8")
    arguing = Arguing(hunt(tmp_path), load_argued(path, tmp_path / "plan.yaml"), lambda plan: load_plan(plan, {}))
    arguing.over(tried, {each.name: replace(LOW, name=each.name) for each in about})
    assert arguing.notes == [f"{path}:4: 'note: *' fits 11 faults that the plan does not pass: name the 1 that it does"]


def test_a_plan_that_fails_the_sound_device_catches_nothing(tmp_path: Path) -> None:
    (tmp_path / "nightly.yaml").write_text(plan_text(PRESSURE.replace("100000", "200000")), encoding="utf-8")
    with pytest.raises(NotSound, match=r"nightly\.yaml does not pass the sound device"):
        over(tmp_path, f"  - faults: 'pressure: *'\n    left_to: nightly.yaml\n    {WHO}\n")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"{HEAD}  - faults: 'a: b'\n", ["the key 'why' is missing", "the key 'by' is missing", "the key 'date' is missing"]),
        (f"{HEAD}  - faults: '*'\n    {WHO}\n", ["'*' would argue for every fault"]),
        (f"{HEAD}  - faults: '*: *'\n    {WHO}\n", ["'*: *' would argue for every fault"]),
        (f"{HEAD}  - faults: 'a*: *e*'\n    {WHO}\n", ["'a*: *e*' would argue for faults that nobody thought of"]),
        (f"{HEAD}  - faults: []\n    {WHO}\n", ["expected the name of a fault, found none"]),
        (f"{HEAD}  - faults: a\n    why: ' '\n    by: ''\n    date: 'May'\n", ["expected a day, found the text 'May'"]),
        (f"{HEAD}  - faults: a\n    why: ' '\n    by: ''\n    date: '2026-02-28'\n",
         ["expected a reason, found an empty text", "expected a name, found an empty text"]),
        (f"{HEAD}  - faults: a\n    reason: b\n    {WHO}\n", ["unknown key 'reason'"]),
        (f"{HEAD}  - faults: a\n    left_to: plan.yaml\n    {WHO}\n", ["a plan cannot be left to itself"]),
        (f"{HEAD}  - faults: a\n    left_to: none.yaml\n    {WHO}\n", ["the file none.yaml does not exist"]),
        ("plan: other.yaml\ndevice: gone.yaml\nargued: []\n", ["expected plan.yaml, found other.yaml", "the file gone.yaml does not"]),
        (f"{HEAD}  - faults: '${{x}}'\n    {WHO}\n", ["an argued file has no references"]),
    ],
)  # fmt: skip
def test_every_mistake_is_told_at_its_place(tmp_path: Path, text: str, told: list[str]) -> None:
    plan, path = written(tmp_path), tmp_path / "argued.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as error:
        load_argued(path, plan)
    for sentence in told:
        assert sentence in str(error.value)
    assert len(error.value.problems) == len(told), textwrap.shorten(str(error.value), 1000)
    assert str(error.value).startswith(f"{path}:")


def test_the_files_that_ship_can_be_read() -> None:
    files = sorted((PLANS / "escapes").glob("*.yaml"))
    for path in files:
        argued = load_argued(path, PLANS / path.name)
        assert beside(argued.plan) == path


def test_check_reads_it(tmp_path: Path) -> None:
    path = tmp_path / "escapes" / written(tmp_path).name
    path.parent.mkdir()
    path.write_text(f"{HEAD}  - faults: 'pressure: *'\n    {WHO}\n", encoding="utf-8")
    assert here("check", path, cwd=tmp_path).stdout == f"{path}: OK, 1 argument for escapes\n"
    path.write_text(f"{HEAD}  - faults: '*'\n    {WHO}\n", encoding="utf-8")
    done = here("check", path, cwd=tmp_path)
    assert (done.returncode, "'*' would argue for every fault" in done.stderr) == (4, True)


def test_where_it_is_looked_for(tmp_path: Path) -> None:
    assert beside(plan_of(tmp_path).path) == tmp_path / "escapes" / "plan.yaml"
