"""Plans from a few words of YAML, and what is said of their mistakes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.source.problem import Problem
from tests.scratch import scratch

HEAD = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\n"
GIVEN = "given: {serial: {default: A1}, low: {default: 15 °C}}\n"
STEPS = "steps:\n  - connect:\n"
MARK = "«"


def with_steps(steps: str, head: str = "") -> str:
    """A plan that connects and then does `steps`, a list in YAML that is indented by two spaces here."""
    indented = "".join(f"  {line}\n" if line else "\n" for line in steps.split("\n"))
    return HEAD + head + STEPS + indented


def plan_of(text: str | bytes, given: Mapping[str, str] | None = None, /, **files: str) -> Plan:
    """The plan in a text; `files` are includes beside it by name without '.yaml'. Raises PlanError, UsageError."""
    with scratch() as folder:
        for name, content in files.items():
            Path(folder, f"{name}.yaml").write_text(content, "utf-8")
        path = Path(folder, "plan.yaml")
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return load_plan(path, given)


def problems_of(text: str | bytes, given: Mapping[str, str] | None = None, /, **files: str) -> tuple[Problem, ...]:
    with pytest.raises(PlanError) as refused:
        plan_of(text, given, **files)
    return refused.value.problems


def problem_of(text: str | bytes, given: Mapping[str, str] | None = None, /, **files: str) -> Problem:
    [problem] = problems_of(text, given, **files)
    return problem


def where(problem: Problem) -> str:
    """'file:line:column' without the folder."""
    return str(problem.place).rpartition("/")[2]


def marked(text: str) -> tuple[str, str]:
    """The text without its one mark, and 'plan.yaml:line:column' of the character behind it."""
    before, _, after = text.partition(MARK)
    return before + after, f"plan.yaml:{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}"
