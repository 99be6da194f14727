"""The line that shows where a run is."""

from __future__ import annotations

import pytest

from benchrig.cli.progress import Progress, Rounds
from benchrig.record.events import PlannedNode
from tests.run.kit import plan_text, run
from tests.run.test_tree import levels

STEPS = """
  - repeat: 20
    name: soak
    steps:
      - {read: battery level, name: level, expect: {value: {min: 50 %}}}
      - repeat: {mode: [low, eco]}
        steps: [{wait: 1 s, name: 'wait in ${mode}'}]
  - repeat: 3 s
    name: for a time
    steps: [{wait: 1 s, name: pause}]
"""


def followed(monkeypatch: pytest.MonkeyPatch, text: str, device: str) -> tuple[list[str], list[str]]:
    """What the line showed, and what was printed above it."""
    lines: list[str] = []
    printed: list[str] = []
    progress = Progress()
    monkeypatch.setattr(progress, "show", lines.append)
    monkeypatch.setattr(progress, "hide", lambda: None)
    monkeypatch.setattr(progress.console, "print", lambda line, **_: printed.append(line))
    run(text, device, during=lambda _, event: progress(event))
    return lines, printed


def test_it_tells_rounds_and_the_time_that_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    lines, printed = followed(monkeypatch, plan_text(STEPS), levels(90, *[20] * 30))
    assert "step 3.1 (3 of 5): level, round 1 of 20" in lines
    assert "step 3.1 (3 of 5): level, round 11 of 20, 20.3 s left" in lines
    assert "step 3.2.1 (4 of 5): wait in eco, round 11 of 20, 19.2 s left, round 2 of 2" in lines
    assert "step 4.1 (5 of 5): pause, round 2, 2.0 s left" in lines
    assert len([line for line in printed if "level" in line]) == 5, "very many failures are not told one by one"
    assert printed[0] == "step 3.1 (round 2) level: fail"
    assert not [line for line in printed if line.startswith("step 3 ")], "what is in it has said so"


def test_no_time_is_told_that_is_not_known() -> None:
    node = PlannedNode("1", "soak", "repeat", "a:1", role="repeat")
    assert Rounds(node).words(7, 10.0, left=True) == "round 7"
