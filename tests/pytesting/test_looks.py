"""Which files are plans, what ids are made of, and how the words of a session are read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchrig.plan.looks import is_plan
from benchrig.pytesting.distributing import PlanScheduling, scope_of
from benchrig.pytesting.ids import LONGEST, id_text
from benchrig.report.names import unused
from tests.run.kit import PLANS


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("plan: a\nsteps: []\n", True),
        ("\ufeff# words\n'plan' : a\ndevices: {}\n", True),
        ('{"plan": "a", "steps": []}', True),
        ("# words\n\n%YAML 1.2\n---  # one\n{plan: a, steps: []}", True),
        ("--- {plan: a, steps: []}\n", True),
        ("---\n  plan: a\n  steps: []\n", True),
        ("# words\rplan: a\rsteps: []\r", True),
        ("device:\n  select: {name: a}\nsteps: []\n", True),
        ("device: a\nsteps: []\n", False),
        ("all:\n  plan: a\n  steps: []\n", False),
        ("plan: premium\nprice: 3\n", False),
        ("services:\n  plan: a\n  steps: []\n", False),
        ("steps: []\ngiven: {}\n", False),
        ('{"plans": 3, "steps": 4}', False),
        ("", False),
    ],
)
def test_a_plan_is_known_by_its_head(tmp_path: Path, text: str, expected: bool) -> None:
    path = tmp_path / "any.yaml"
    for encoding in ("utf-8", "utf-16"):  # what cannot be read as a plan is told, not left out
        path.write_bytes(text.encode(encoding))
        assert is_plan(path) is expected


def test_of_the_files_that_ship_the_plans_are_plans() -> None:
    others = [path for path in PLANS.rglob("*.yaml") if path.parent != PLANS]
    assert [path for path in PLANS.glob("*.yaml") if not is_plan(path)] == []
    assert others
    assert [path for path in others if is_plan(path)] == []
    assert not is_plan(PLANS)


def test_ids_are_what_people_wrote() -> None:
    names = ["read [0] of a::b", "Grüße,\tan\nalle", "::", " ", "a\u202eb\ufffec\x01"]
    assert [id_text(name) for name in names] == ["read (0) of a:b", "Grüße, an alle", "unnamed", "unnamed", "a b c"]
    assert id_text("", "read battery level") == "read battery level"
    assert len(id_text("x" * 500)) == LONGEST
    taken: set[str] = set()
    assert [unused(text, taken) for text in ("a", "a", "a (2)", "a")] == ["a", "a (2)", "a (2) (2)", "a (3)"]


def test_what_stays_on_one_worker() -> None:
    plan = "plans/a.yaml::A plan"
    assert {scope_of(f"{plan}::one"), scope_of(f"{plan}::two")} == {plan}
    assert scope_of(f"{plan}::one[cold]") == scope_of(f"{plan}::two[cold]") != scope_of(f"{plan}::one[warm]")
    assert scope_of("test_a.py::test_one[x@y]") == "test_a.py::test_one[x@y]"
    assert scope_of("test_a.py::test_one[x]@radio") == scope_of("test_b.py::test_two@radio") == "radio"


class Worker:
    """What a scheduler knows of a worker: the items it is given, whether no more are to come."""

    def __init__(self) -> None:
        self.gateway, self.shutting_down, self.items = SimpleNamespace(id="gw"), False, list[int]()

    def send_runtest_some(self, items: list[int]) -> None:
        self.items += items

    def shutdown(self) -> None:
        self.shutting_down = True


def test_the_item_that_a_worker_has_died_in_is_not_begun_again(pytestconfig: pytest.Config) -> None:
    """All others are, once each, also by a worker that is alone; one that is on its way gets nothing."""
    items = [f"a.yaml::A plan::{step}" for step in ("scan", "crash", "read")] + ["test_a.py::one", "test_a.py::two"]
    option = SimpleNamespace(tx=["popen"], loadscopereorder=True)
    config: Any = SimpleNamespace(option=option, getvalue=lambda name: ["popen"] if name == "tx" else None)
    scheduling = PlanScheduling(config, None)
    first, second, third = (Worker() for _ in range(3))
    scheduling.add_node(first)
    scheduling.add_node_collection(first, items)
    scheduling.schedule()
    scheduling.mark_test_complete(first, 0)
    scheduling.add_node(third)
    assert scheduling.remove_node(first) == items[1]
    scheduling.add_node(second)
    scheduling.add_node_collection(second, items)
    scheduling.schedule()
    assert len(second.items) >= 2, "it waits for the next item before it begins the first"
    done = 0
    while done < len(second.items):
        scheduling.mark_test_complete(second, second.items[done])
        done += 1
    assert (sorted(second.items), third.items) == ([2, 3, 4], [])
    assert second.shutting_down


def test_a_project_without_plans_loads_no_more_than_hooks(tmp_path: Path) -> None:
    (tmp_path / "other.yaml").write_text("plan: premium\nprice: 3\n")
    script = (
        "import sys, pytest, benchrig.pytest_plugin as plugin\n"
        "from benchrig.plan import looks\n"
        f"assert not looks.is_plan(__import__('pathlib').Path({str(tmp_path / 'other.yaml')!r}))\n"
        "ours = {name for name in sys.modules if name.startswith('benchrig.')}\n"
        "assert ours <= {'benchrig.pytest_plugin', 'benchrig.plan', 'benchrig.plan.looks', 'benchrig.version'}, ours\n"
        "assert not {'msgspec', 'yaml', 'bleak', 'bumble', 'rich', 'click', 'asyncio'} & {*sys.modules}\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)
