"""What the terminal and pytest's JUnit file say of runs. It loads nothing but for a run that there is to tell of."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from benchrig.pytesting.ids import shown as printable

if TYPE_CHECKING:
    from benchrig.launch import Finished
    from benchrig.record.model import Record

NAME = "benchrig-runs"
_WIDTH = 120


class Told(NamedTuple):
    """What there is to tell of a run that is over. It goes from a worker to whoever shows it; without a line only pytest's JUnit
    file has it."""

    plan: str
    line: str
    folder: str
    table: str = ""

    @property
    def data(self) -> list[str]:
        return [*self]


def marks(*, simulated: bool, folder: Path | None) -> list[str]:
    """What everybody has to know who reads one failure alone."""
    from benchrig.report.explain import SIMULATED

    return [*[f"SIMULATED: {SIMULATED}"] * simulated, *([f"record: {folder}"] if folder else [])]


def top(node: str) -> str:
    """The id of the step of the plan that this one is in."""
    return node.partition(".")[0]


def as_error(report: pytest.TestReport) -> None:
    """Nothing was judged: that is not what anybody expects to fail."""
    if hasattr(report, "wasxfail"):
        report.outcome = "failed"
        del report.wasxfail


def told_of(finished: Finished, plan: str, *, table: bool) -> Told:
    from benchrig.report import whole

    marks = whole.marks(finished.record)
    line = (f"{', '.join(marks)}: " if marks else "") + whole.verdict_line(finished.record)
    return Told(plan, line, str(finished.folder), _table(finished.record) if table else "")


def _table(record: Record) -> str:
    from rich.console import Console

    from benchrig.report.table import render

    out = io.StringIO()
    console = Console(file=out, width=_WIDTH, color_system=None, highlight=False, emoji=False, markup=False)
    render(record, console, unjudged=False)
    return out.getvalue().rstrip("\n")


def failure_text(record: Record, node: str) -> list[str]:
    """Why a step of the plan, and what is in it, did not pass."""
    return [line for told in _failures(record, node) for line in told]


def _failures(record: Record, node: str) -> Iterator[list[str]]:
    from benchrig.report import explain, whole

    for failure in whole.failures_of(record, node):
        if failure.tolerated:
            continue
        step = failure.step
        cause = f" ({step.ended.cause})" if step.ended is not None and step.ended.cause else ""
        yield [
            f"step {explain.telling_title(step)}: {explain.state(step)}{cause}",
            *(f"  {each}" for each in explain.explanation(step)),
        ]
        if failure.more:
            yield [f"  and in {failure.more} more rounds"]


@dataclass(eq=False)
class Runs:
    """The runs of a session, shown at its end: a line each, with -v the table. A plugin of pytest of its own."""

    config: pytest.Config
    is_interrupted: bool = False
    _told: list[Told] = field(default_factory=list)
    _troubles: list[str] = field(default_factory=list)

    def add(self, told: Told) -> None:
        self._told += [told] if told.line else []
        for plugin in self.config.pluginmanager.get_plugins():
            add: Any = getattr(plugin, "add_global_property", None)  # of pytest's JUnit file
            if add is not None:
                add(f"benchrig:{printable(told.plan)}", told.folder)

    def add_last(self, told: Iterable[Told], trouble: str) -> None:
        """Of a run that ended behind the last report."""
        for each in told:
            self.add(each)
        self._troubles += [trouble] if trouble else []

    def pytest_keyboard_interrupt(self) -> None:
        self.is_interrupted = True

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        for data in getattr(report, "benchrig_runs", ()):
            self.add(Told(*data))

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        shown = self._told if terminalreporter.verbosity >= 0 else []
        if shown or self._troubles:
            terminalreporter.section("test plans")
        for line in (line for trouble in self._troubles for line in trouble.splitlines()):
            terminalreporter.write_line(line)
        for told in shown:
            for line in (told.table or f"{told.plan}: {told.line}").splitlines():
                terminalreporter.write_line(line)
            terminalreporter.write_line(f"  record: {told.folder}")
