"""Which plans a call names."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.looks import is_meant
from benchrig.series.finding import find_plans


def write(folder: Path, *names: str, text: str = "plan: p\n") -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("head", "is_one"),
    [
        ("plan: p\n", True),
        ("# note\n---\n'plan' : p\n", True),
        ("\ufeffplan: p\n", True),
        ("device: {}\nsteps: []\n", True),  # its name is missing, which has to be told
        ("devices: {}\nsteps: []\n", True),
        ("given: {}\nsteps: []\n", False),
        ("plan: p.yaml\nargued: []\n", False),
        ("device: x\nservices: []\n", False),
        ("attributes: {}\n", False),
        ("other:\n  plan: p\n", False),
        ("planned: p\n", False),
        ("{plan: p, steps: []}", True),
        ("---\n  plan: p\n  steps: []\n", True),
        ("# note\rplan: p\rsteps: []\r", True),
        ("", False),
    ],
)
def test_a_plan_is_known_by_its_head(head: str, is_one: bool) -> None:
    assert is_meant(head.encode()) == is_one


def test_a_folder_gives_its_plans_in_the_order_of_names(tmp_path: Path) -> None:
    write(tmp_path, "b.yaml", "a.yml", "m/c.yaml", ".hidden/x.yaml", "n.txt", "results/old.yaml")
    write(tmp_path, "kept/record.jsonl", "kept/robust.yaml")
    write(tmp_path, "d.yaml", text="attributes: {}\n")
    found = find_plans([tmp_path], tmp_path / "results")
    assert [str(path.relative_to(tmp_path)) for path in found.plans] == ["a.yml", "b.yaml", "m/c.yaml"]
    assert found.others == [tmp_path / "d.yaml"]


def test_a_file_that_is_named_is_taken_whatever_is_in_it(tmp_path: Path) -> None:
    assert find_plans([tmp_path / "x.yaml"], tmp_path).plans == [tmp_path / "x.yaml"]


def test_all_that_is_wrong_with_the_words_is_told_at_once(tmp_path: Path) -> None:
    write(tmp_path, "plans/a.yaml")
    write(tmp_path, "none/d.yaml", text="attributes: {}\n")
    (tmp_path / "dead").mkdir()
    (tmp_path / "dead/x.yaml").symlink_to("gone")
    with pytest.raises(PlanError) as caught:
        find_plans([tmp_path / name for name in ("plans", "none", "dead", "plans/a.yaml")], tmp_path / "results")
    messages = [problem.message for problem in caught.value.problems]
    assert messages == [
        "cannot be read: No such file or directory",
        "expected a plan in this folder, found none",
        "this plan is named twice",
    ]
