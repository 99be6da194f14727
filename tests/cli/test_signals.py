"""Signals to a real process in mid-run: what is left on disk, what is said, and with which exit code."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from junitparser import JUnitXml

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.kit import COMMAND, PATIENCE, Files, environment, files, wait_for

STEPS = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n  - wait: 100 s\n"
CLEANUP = "finally:\n  - read: temperature\n    name: last look\n"
SLOW_CLEANUP = "finally:\n  - wait: 100 s\n    name: rest\n  - read: temperature\n    name: last look\n"
WAITING = '"event":"opened","where":{"node":"4"}'


class Run:
    """A run in real time, caught in its long pause."""

    def __init__(self, bench: Files) -> None:
        self.bench = bench
        command = [*COMMAND, "run", "plan.yaml", "--radio", bench.radio, "--real-time"]
        self.process = subprocess.Popen(
            command, cwd=bench.folder, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        wait_for(bench.folder, WAITING)

    def end(self, *numbers: signal.Signals) -> tuple[int, str, str]:
        for number in numbers:
            self.process.send_signal(number)
        output, errors = self.process.communicate(timeout=PATIENCE)
        return self.process.returncode, output, errors

    @property
    def record(self) -> Record:
        [path] = self.bench.records()
        return read_record(path)


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Run]:
    run = Run(files(tmp_path, STEPS, cleanup=CLEANUP))
    yield run
    run.process.kill()
    run.process.communicate()


def test_killed_in_mid_run_the_record_is_readable_and_says_cut_off(running: Run) -> None:
    code, _, _ = running.end(signal.SIGKILL)
    assert code == -signal.SIGKILL
    record = running.record
    assert record.cut_off
    assert [step.ended.verdict if step.ended else None for step in record.steps] == ["pass", "pass", "pass", None, None]
    assert record.steps[3].opened is not None
    assert record.steps[2].readings[0].value == 21.5


@pytest.mark.parametrize(
    "number", [signal.SIGTERM, *(pytest.param(each, marks=pytest.mark.slow) for each in (signal.SIGINT, signal.SIGHUP))]
)
def test_interrupted_it_cleans_up_and_ends_with_2(running: Run, number: signal.Signals) -> None:
    code, output, errors = running.end(number)
    assert (code, errors) == (2, "")
    record = running.record
    assert record.ended is not None
    assert (record.ended.verdict, record.ended.cause, record.ended.exit_code) == ("error", "operator", 2)
    assert [step.ended.verdict for step in record.steps] == ["pass", "pass", "pass", "error", "pass"]
    assert "stopped by the operator or interrupted (exit code 2)" in output
    [junit] = running.bench.folder.glob("results/*/junit.xml")
    suites = JUnitXml.fromfile(str(junit))
    assert (suites.tests, suites.errors, suites.failures) == (5, 1, 0)


@pytest.mark.slow
def test_a_second_interruption_leaves_finally_out(tmp_path: Path) -> None:
    run = Run(files(tmp_path, STEPS, cleanup=SLOW_CLEANUP))
    run.process.send_signal(signal.SIGINT)
    wait_for(tmp_path, '"event":"opened","where":{"node":"5"}')
    code, _, errors = run.end(signal.SIGINT)
    assert (code, errors) == (2, "")
    assert [step.ended.verdict for step in run.record.steps] == ["pass", "pass", "pass", "error", "error", "skip"]
