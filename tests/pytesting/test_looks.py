"""Which files are plans, what ids are made of, and how the words of a session are read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchrig.pytesting.distributing import scope_of
from benchrig.pytesting.ids import LONGEST, id_text, unused
from benchrig.pytesting.looks import is_plan
from tests.run.kit import DEVICES, PLANS


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("plan: a\nsteps: []\n", True),
        ("\ufeff# words\n'plan' : a\ndevices: {}\n", True),
        ('{"plan": "a", "steps": []}', True),
        ("plan: premium\nprice: 3\n", False),
        ("services:\n  plan: a\n  steps: []\n", False),
        ("steps: []\ngiven: {}\n", False),
        ('{"plans": 3, "steps": 4}', False),
        ("", False),
    ],
)
def test_a_plan_is_known_by_its_head(tmp_path: Path, text: str, expected: bool) -> None:
    path = tmp_path / "any.yaml"
    path.write_text(text, "utf-8")
    assert is_plan(path) is expected


def test_of_the_files_that_ship_the_plans_are_plans() -> None:
    others = [*DEVICES.rglob("*.yaml"), *(PLANS / "parts").rglob("*.yaml"), *(PLANS / "names").rglob("*.yaml")]
    assert [path for path in PLANS.glob("*.yaml") if not is_plan(path)] == []
    assert others
    assert [path for path in others if is_plan(path)] == []
    assert not is_plan(PLANS)


def test_ids_are_what_people_wrote() -> None:
    names = ["read [0] of a::b", "Grüße,\tan\nalle", "::", " ", "x" * 500]
    assert [id_text(name) for name in names[:4]] == ["read (0) of a:b", "Grüße, an alle", "unnamed", "unnamed"]
    assert id_text("", "read battery level") == "read battery level"
    assert len(id_text(names[4])) == LONGEST
    taken: set[str] = set()
    assert [unused(text, taken) for text in ("a", "a", "a (2)", "a")] == ["a", "a (2)", "a (2) (2)", "a (3)"]


def test_what_stays_on_one_worker() -> None:
    plan = "plans/a.yaml::A plan"
    assert {scope_of(f"{plan}::one"), scope_of(f"{plan}::two")} == {plan}
    assert scope_of(f"{plan}::one[cold]") == scope_of(f"{plan}::two[cold]") != scope_of(f"{plan}::one[warm]")
    assert scope_of("test_a.py::test_one[x@y]") == "test_a.py::test_one[x@y]"
    assert scope_of("test_a.py::test_one[x]@radio") == scope_of("test_b.py::test_two@radio") == "radio"


def test_a_project_without_plans_loads_no_more_than_hooks(tmp_path: Path) -> None:
    (tmp_path / "other.yaml").write_text("plan: premium\nprice: 3\n")
    script = (
        "import sys, pytest, benchrig.pytest_plugin as plugin\n"
        "from benchrig.pytesting import looks\n"
        f"assert not looks.is_plan(__import__('pathlib').Path({str(tmp_path / 'other.yaml')!r}))\n"
        "ours = {name for name in sys.modules if name.startswith('benchrig.')}\n"
        "assert ours <= {'benchrig.pytest_plugin', 'benchrig.pytesting', 'benchrig.pytesting.looks', 'benchrig.version'}, ours\n"
        "assert not {'msgspec', 'yaml', 'bleak', 'bumble', 'rich', 'click', 'asyncio'} & {*sys.modules}\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)
