"""The runs of a call: every plan, and again for each repetition, with seeds of their own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchrig.errors import BenchrigError
from benchrig.launch import RunOptions, settings_of
from benchrig.plan.model import Plan
from benchrig.record.aggregate import build_record
from benchrig.record.events import RunEnded
from benchrig.record.model import Record
from benchrig.report.registry import ReportChoice
from benchrig.run.ending import verdict_of
from benchrig.run.head import run_started
from benchrig.run.outcome import exit_of


@dataclass(frozen=True)
class OneRun:
    options: RunOptions
    repetition: int


def repeated(options: Sequence[RunOptions], times: int, again: Callable[[Path, int], Plan]) -> list[OneRun]:
    """All plans, then all of them again. The seed of a virtual radio counts up; `again` loads a plan whose values come
    from it. The file of a report is that of all runs, so no run has it for itself."""
    alone = times * len(options) == 1
    return [
        OneRun(_repetition(each if alone else _without_files(each), number, again), number)
        for number in range(1, times + 1)
        for each in options
    ]


def _without_files(options: RunOptions) -> RunOptions:
    return replace(options, reports=tuple(ReportChoice(each.report, None, each.dialect) for each in options.reports))


def _repetition(options: RunOptions, number: int, again: Callable[[Path, int], Plan]) -> RunOptions:
    seed = options.seed + number - 1
    if number == 1 or not any(spec.random for spec in options.plan.given.values()):
        return replace(options, seed=seed)
    plan = again(options.plan.path, seed)
    nodes = {node.id: node for node in plan.nodes}
    return replace(options, seed=seed, plan=plan, nodes=[nodes[node.id] for node in options.nodes])


def not_run(options: RunOptions, error: BenchrigError) -> Record:
    """The record of a run that did not begin: the head, and why."""
    head = run_started(options.plan, options.nodes, settings_of(options, options.results or Path()))
    code = int(exit_of(error.cause))
    end = RunEnded(0.0, verdict_of(error), code, 0, error.cause, None, error.message, error.advice)
    return build_record([head, end])
