"""Plans that are changed as they are written."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.plan.editing import Edit, Holding, Inserting, Setting, Unfit, edited, path_of, root_of
from benchrig.plan.loader import load_plan
from benchrig.plan.writing import StepText
from benchrig.source.writing import Bare
from tests.run.kit import PLANS

HEAD = "plan: p\ndevice: {select: {name: x}} # a device\nsteps:\n"
STEP = StepText("wait", Bare("1 s"), remarks=["why"])


def changed(steps: str, *edits: Edit) -> str:
    made = edited(Path("plan.yaml"), HEAD + steps, edits)
    assert made.text.startswith(HEAD)
    return made.text.removeprefix(HEAD)


def hold(*path: int | str) -> Holding:
    return Holding(("steps", *path), {"elapsed": {"max": Bare("2 s")}}, {"elapsed": "it is quick"})


@pytest.mark.parametrize(
    ("steps", "path", "expected"),
    [
        ("  - scan:\n", [0], "  - scan:\n    expect:\n      # it is quick\n      elapsed: {max: 2 s}\n"),
        ("  - scan:", [0], "  - scan:\n    expect:\n      # it is quick\n      elapsed: {max: 2 s}\n"),
        ("  - scan:\n    expect: {rssi: {min: -70 dBm}} # why\n", [0], "  - scan:\n    expect: {rssi: {min: -70 dBm}, elapsed: {max: 2 s}} # why\n"),
        ("  - scan:\n    expect: { a: {matches: '}''{'},\n      b: {equals: \"x}\\\"\"}\n      }\n    for: 1 s\n", [0],
         "  - scan:\n    expect: { a: {matches: '}''{'},\n      b: {equals: \"x}\\\"\"}, elapsed: {max: 2 s}\n      }\n    for: 1 s\n"),
        ("  - scan:\n    expect:\n      # one\n      rssi: {min: -70 dBm}\n      # two\n    for: 1 s\n  - wait: 1 s\n", [0],
         "  - scan:\n    expect:\n      # one\n      rssi: {min: -70 dBm}\n      # it is quick\n      elapsed: {max: 2 s}\n      # two\n    for: 1 s\n  - wait: 1 s\n"),
        ("  - {wait: 1 s}\n", [0], "  - {wait: 1 s, expect: {elapsed: {max: 2 s}}}\n"),
        ("  - {wait: 1 s, expect: {}}\n", [0], "  - {wait: 1 s, expect: {elapsed: {max: 2 s}}}\n"),
        ("  - group: g\n    steps:\n    - wait: 1 s\n\n    # after\n  - wait: 2 s\n", [0, "steps", 0],
         "  - group: g\n    steps:\n    - wait: 1 s\n      expect:\n        # it is quick\n        elapsed: {max: 2 s}\n\n    # after\n  - wait: 2 s\n"),
    ],
)  # fmt: skip
def test_limits_go_where_the_step_has_them(steps: str, path: list[int | str], expected: str) -> None:
    assert changed(steps, hold(*path)) == expected


@pytest.mark.parametrize(
    ("steps", "after", "expected"),
    [
        ("  - scan:\n\n  # of the second\n  - wait: 2 s\n", [0], "  - scan:\n  # why\n  - wait: 1 s\n\n  # of the second\n  - wait: 2 s\n"),
        ("- {scan: ,\n  for: 1 s} # x\n", [0], "- {scan: ,\n  for: 1 s} # x\n# why\n- wait: 1 s\n"),
        ("  - group: g\n    steps: [{wait: 2 s}]\nfinally: []\n", [0], "  - group: g\n    steps: [{wait: 2 s}]\n  # why\n  - wait: 1 s\nfinally: []\n"),
        ("  - ask: |\n      Is it\n\n      green?\n  - wait: 2 s\n", [0], "  - ask: |\n      Is it\n\n      green?\n  # why\n  - wait: 1 s\n  - wait: 2 s\n"),
    ],
)  # fmt: skip
def test_steps_go_behind_one(steps: str, after: list[int], expected: str) -> None:
    assert changed(steps, Inserting(("steps", *after), [STEP])) == expected


def test_keys_are_added_and_replaced() -> None:
    assert (
        changed("  - scan:\n    for: 3 s # long\n", Setting(("steps", 0), "for", Bare("5 s")))
        == "  - scan:\n    for: 5 s # long\n"
    )
    assert changed("  - scan:\n", Setting(("steps", 0), "for", Bare("5 s"))) == "  - scan:\n    for: 5 s\n"
    assert changed("  - {scan: , for: 3 s}\n", Setting(("steps", 0), "for", Bare("5 s"))) == "  - {scan: , for: 5 s}\n"


def test_many_at_once_and_the_lines_of_each() -> None:
    steps = "  - scan:\n  - wait: 2 s\n"
    edits = [Inserting(("steps", 1), [STEP]), hold(0), Inserting(("steps", 0), [STEP, StepText("disconnect")])]
    made = edited(Path("plan.yaml"), HEAD + steps, edits)
    lines = made.text.split("\n")
    assert [lines[first - 1 : last] for first, last in made.lines] == [
        ["  # why", "  - wait: 1 s"],
        ["    expect:", "      # it is quick", "      elapsed: {max: 2 s}"],
        ["  # why", "  - wait: 1 s", "  - disconnect:"],
    ]


@pytest.mark.parametrize(
    ("steps", "edit"),
    [
        ("  [{scan: }]\n", Inserting(("steps", 0), [STEP])),
        ("  - scan:\n    expect: '${limits}'\n", hold(0)),
        ("  - ask: |\n      Is it\n      # green\n", Inserting(("steps", 0), [STEP])),
    ],
)
def test_what_cannot_be_changed_is_told_and_not_spoilt(steps: str, edit: Edit) -> None:
    with pytest.raises(Unfit):
        changed(steps, edit)


@pytest.mark.parametrize(
    "name", ["end_of_line", "nightly_regression", "box_end_of_line", "box_nightly", "secure_end_of_line"]
)
def test_every_step_of_the_shipped_plans_takes_a_limit_and_a_step_behind_it(name: str) -> None:
    path = PLANS / f"{name}.yaml"
    text = path.read_text("utf-8")
    root = root_of(text, str(path))
    plan = load_plan(path, text=text)
    free = [step for step in plan.steps if "elapsed" not in step.limit_names]
    paths = [found for step in free if (found := path_of(root, step.place)) is not None]
    assert len(paths) > 10
    edits: list[Edit] = []
    for found in paths:
        edits += [Holding(found, {"elapsed": {"max": Bare("9 s")}}), Inserting(found, [STEP])]
    made = edited(path, text, edits)
    removed = [line for line in text.splitlines() if line not in made.text.splitlines()]
    assert all("expect: {" in line for line in removed), "nothing but limits in brackets has another line"
