"""One run from options to files: what is left behind when the files cannot be written, and when the plan's own functions
do not end."""

from __future__ import annotations

import asyncio
import os
import random
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from junitparser import JUnitXml

from benchrig.errors import StationError
from benchrig.launch import _slug
from benchrig.record.events import AnyEvent
from benchrig.record.journal import Journal, read_record
from benchrig.record.keeping import Events
from benchrig.record.model import Record
from tests.cli.kit import COMMAND, PATIENCE, RUN_FILES, Files, Start, benchrig, environment, files, here
from tests.record.examples import opened, reading, run_started

READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"


def record_of(bench: Files) -> Record:
    [path] = bench.records()
    return read_record(path)


def run(bench: Files, *more: str | Path, start: Start = benchrig) -> subprocess.CompletedProcess[str]:
    return start("run", "plan.yaml", "--radio", bench.radio, *more, cwd=bench.folder)


# --- the journal


@pytest.fixture
def small_files(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Files of this process and its children end at 3000 bytes, as on a full disk. Python would keep half of a compiled
    module as if it were whole, for all who come after."""
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (3000, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


LONG = "".join(f"  - read: temperature\n    name: look {n}\n    expect: {{value: {{max: 30 °C}}}}\n" for n in range(20))
MARK = "finally:\n  - command: [mkdir, cleaned-up]\n"


@pytest.mark.usefixtures("small_files")
def test_a_full_disk_does_not_keep_the_clean_up_from_being_done(tmp_path: Path) -> None:
    done = run(files(tmp_path, LONG, cleanup=MARK))
    assert (done.returncode, (tmp_path / "cleaned-up").exists()) == (7, True)
    assert "record.jsonl cannot be written: File too large" in done.stderr


def test_a_journal_that_fails_is_the_stations_fault_in_every_report(
    tmp_path: Path, monkeypatch, broken_journal
) -> None:
    finished = broken_journal(tmp_path, fails=range(2, 1000))
    assert finished.record.ended.exit_code == 7
    assert "no room" in finished.record.ended.message
    assert JUnitXml.fromfile(str(tmp_path / "report.xml")).errors > 0
    assert [step.ended.verdict for step in finished.record.steps] == ["pass"] * 3


def test_lines_that_found_no_room_are_written_when_there_is_some(tmp_path: Path, broken_journal) -> None:
    finished = broken_journal(tmp_path, fails=range(2, 5))
    on_disk = read_record(finished.folder / "record.jsonl")
    assert [step.ended for step in on_disk.steps] == [step.ended for step in finished.record.steps]
    assert on_disk.ended.exit_code == 7


@pytest.mark.slow
def test_a_step_that_lasts_finds_all_before_it_on_disk_and_itself(tmp_path: Path) -> None:
    bench = files(tmp_path, f"{READ}  - command: [sh, -c, 'sleep 0.2; cp results/*/record.jsonl seen']\n")
    run(bench)
    read, command = read_record(tmp_path / "seen").steps[2:]
    assert read.ended is not None
    assert (read.ended.verdict, [each.name for each in read.readings]) == ("pass", ["value"])
    assert (command.opened is not None, command.ended) == (True, None)


@pytest.mark.slow
@pytest.mark.parametrize(
    "body", [pytest.param("def dies(bench): os.abort()", marks=pytest.mark.slow), "async def dies(bench): os.abort()"]
)
def test_a_function_that_ends_the_process_is_on_record_as_the_step_at_hand(tmp_path: Path, body: str) -> None:
    """A driver of an instrument may crash at once: the lines that wait do not wait for foreign code."""
    (tmp_path / "rig.py").write_text(f"import os\n{body}\n", encoding="utf-8")
    bench = files(tmp_path, f"{READ}  - call: rig:dies\n")
    run(bench)
    read, call = record_of(bench).steps[2:]
    assert read.ended is not None
    assert (read.ended.verdict, call.opened is not None, call.ended) == ("pass", True, None)


def test_lines_from_a_thread_wait_for_those_that_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An ordinary function gives its readings from a thread, while the loop may write what waits."""
    journal = Journal(tmp_path / "record.jsonl")
    events = Events(journal, [], blame=pytest.fail, foreign=frozenset({opened().where.node}))
    events(run_started())
    events(opened())
    other = threading.Thread(target=events, args=(reading(22.5),))
    whole, waits = journal.write, []

    def write(*written: AnyEvent) -> None:
        if not waits:
            other.start()
            other.join(0.05)
            waits.append(other.is_alive())
        whole(*written)

    monkeypatch.setattr(journal, "write", write)
    events(reading(21.5))
    other.join()
    assert waits == [True]
    assert [each.value for each in read_record(journal.path).steps[0].readings] == [21.5, 22.5]
    journal.close()


def test_what_was_measured_is_on_disk_before_the_run_waits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run may be killed while it waits: what had come is there, in one write."""
    written = []
    whole = Journal.write
    monkeypatch.setattr(Journal, "write", lambda journal, *lines: (written.append(len(lines)), whole(journal, *lines)))

    async def measured(journal: Journal) -> None:
        events = Events(journal, [], blame=pytest.fail)
        for event in (run_started(), opened(), reading(21.5)):
            events(event)
        await asyncio.sleep(0)
        assert read_record(journal.path).steps[0].readings == [reading(21.5)]

    with Journal(tmp_path / "record.jsonl") as journal:
        asyncio.run(measured(journal))
    assert written == [1, 2]


def test_what_foreign_code_measured_is_on_disk_at_once(tmp_path: Path) -> None:
    """It may take the process down before the loop comes to anything."""
    with Journal(tmp_path / "record.jsonl") as journal:
        events = Events(journal, [], blame=pytest.fail, foreign=frozenset({opened().where.node}))
        for event in (run_started(), opened(), reading(21.5)):
            events(event)
        assert read_record(journal.path).steps[0].readings == [reading(21.5)]


@pytest.fixture
def broken_journal(monkeypatch: pytest.MonkeyPatch):
    """A run whose journal fails at some of its writes; the reports go elsewhere."""
    from benchrig.launch import Finished, RunOptions, launch
    from benchrig.plan.loader import load_plan
    from benchrig.radio.specify import RadioChoice
    from benchrig.run.unattended import Unattended
    from benchrig.station.station import Station

    def ran(folder: Path, fails: range) -> Finished:
        files(folder, READ)
        whole, calls = Journal.write, iter(range(10000))

        def write(self: Journal, *events: AnyEvent) -> None:
            if next(calls) in fails:
                raise StationError("no room")
            whole(self, *events)

        monkeypatch.setattr(Journal, "write", write)
        plan = load_plan(folder / "plan.yaml", {})
        radio = RadioChoice.parse(f"virtual:{folder}/device.yaml")
        options = RunOptions(plan, plan.steps, Station("bench 1"), radio, folder / "results")
        return launch(_with_junit(options, folder / "report.xml"), Unattended())

    return ran


def _with_junit(options, path):
    from dataclasses import replace

    files = {"junit": path}
    return replace(options, reports=tuple(replace(each, file=files.get(each.report.name)) for each in options.reports))


# --- the folder


@pytest.mark.parametrize("deed", ["mv results moved", "rm -r results"])
def test_results_that_are_taken_away_meanwhile_are_no_pass(tmp_path: Path, deed: str) -> None:
    bench = files(tmp_path, f"{READ}  - command: [sh, -c, '{deed}']\n")
    done = run(bench, "--junit", "report.xml", start=here)
    assert (done.returncode, (tmp_path / "results").exists()) == (7, False)
    assert "was moved or removed during the run" in done.stderr
    assert JUnitXml.fromfile(str(tmp_path / "report.xml")).tests == 4


def test_one_bad_place_does_not_take_the_other_reports_along(tmp_path: Path) -> None:
    bench = files(tmp_path, f"{READ}  - command: [sh, -c, 'rm -r there && touch there']\n")
    done = run(bench, "--junit", "there/report.xml", "--csv", "report.csv", start=here)
    assert done.returncode == 7
    assert "there/report.xml cannot be written" in done.stderr
    assert (tmp_path / "report.csv").read_text().count("\n") == 5
    assert {path.name for path in tmp_path.glob("results/*/*")} == RUN_FILES


# --- what a function of the plan leaves behind

FUNCTIONS = """
import asyncio, sys, threading, time

async def stray(bench):
    async def fails():
        raise ValueError("spilt")
    asyncio.ensure_future(fails())
    await asyncio.sleep(0.01)

async def obstinate(bench):
    async def stays():
        while True:
            try:
                await asyncio.sleep(1)
            except asyncio.CancelledError:
                pass
    bench.task = asyncio.ensure_future(stays())
    await asyncio.sleep(0.01)

def hangs(bench):
    time.sleep(1000)

def leaves_a_thread(bench):
    threading.Thread(target=time.sleep, args=(1000,)).start()

def ends(bench):
    sys.exit(0)

async def ends_too(bench):
    sys.exit(0)
"""


def called(
    folder: Path, function: str, more: str = "", start: Start = benchrig
) -> tuple[subprocess.CompletedProcess[str], Record]:
    bench = files(folder, f"{READ}  - call: mine:{function}\n{more}")
    (folder / "mine.py").write_text(FUNCTIONS)
    done = run(bench, start=start)
    return done, record_of(bench)


def test_an_error_that_nobody_waited_for_is_in_the_verdict(tmp_path: Path) -> None:
    done, record = called(tmp_path, "stray", start=here)
    assert record.ended is not None
    assert done.returncode == record.ended.exit_code == 3
    assert "nobody waited for it: spilt" in record.ended.message
    assert "nobody waited for it: spilt" in " ".join(done.stdout.split())
    assert len([*tmp_path.glob("results/*/junit.xml")]) == 1


@pytest.mark.slow
@pytest.mark.parametrize("function", ["obstinate", pytest.param("leaves_a_thread", marks=pytest.mark.slow)])
def test_what_a_function_left_running_does_not_keep_the_process(tmp_path: Path, function: str) -> None:
    done, record = called(tmp_path, function)
    assert record.ended is not None
    assert (done.returncode, record.ended.exit_code) == (0, 0)


@pytest.mark.slow
def test_a_function_that_never_returns_ends_with_its_step(tmp_path: Path) -> None:
    done, record = called(tmp_path, "hangs", "    within: 1 s\n")
    assert record.ended is not None
    assert done.returncode == record.ended.exit_code != 0
    assert len([*tmp_path.glob("results/*/junit.xml")]) == 1


@pytest.mark.parametrize("function", ["ends", "ends_too"])
def test_a_function_that_ends_the_process_ends_its_step_alone(tmp_path: Path, function: str) -> None:
    done, record = called(tmp_path, function, start=here)
    assert record.ended is not None
    assert done.returncode == record.ended.exit_code != 0


# --- signals before and after

PROGRAM = """
import os, signal, sys
import benchrig.__main__ as process
{patch}
sys.argv = ["benchrig", *sys.argv[1:]]
process.start()
"""
BEFORE = """
command = process._command
def early():
    os.kill(os.getpid(), signal.{name})
    command()
process._command = early
"""
IN_IMPORTS = """
import benchrig.plan.loader as loader
whole = loader.load_plan
def load(*more, **named):
    os.kill(os.getpid(), signal.{name})
    return whole(*more, **named)
loader.load_plan = load
"""
AFTER = """
import benchrig.report.table as table
whole = table.render_verdict
def late(*more):
    whole(*more)
    os.kill(os.getpid(), signal.{name})
table.render_verdict = late
"""


def signalled(folder: Path, patch: str, name: str) -> subprocess.CompletedProcess[str]:
    bench = files(folder, READ)
    words = ["run", "plan.yaml", "-q", "--radio", bench.radio, "--junit", "report.xml"]
    program = PROGRAM.format(patch=patch.format(name=name))
    return subprocess.run(
        [sys.executable, "-c", program, *words],
        cwd=folder, env=environment(), stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=PATIENCE,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("patch", "name"),
    [
        pytest.param(BEFORE, "SIGINT", marks=pytest.mark.slow),
        (BEFORE, "SIGTERM"),
        (IN_IMPORTS, "SIGINT"),
        pytest.param(IN_IMPORTS, "SIGHUP", marks=pytest.mark.slow),
    ],
)
def test_a_signal_before_the_run_interrupts_it_and_yesterdays_report_is_gone(
    tmp_path: Path, patch: str, name: str
) -> None:
    (tmp_path / "report.xml").write_text("<testsuites/>")
    done = signalled(tmp_path, patch, name)
    assert (done.returncode, done.stderr.strip()) == (2, "benchrig: interrupted")
    assert not (tmp_path / "report.xml").exists()


@pytest.mark.parametrize("name", ["SIGINT", pytest.param("SIGTERM", marks=pytest.mark.slow)])
def test_a_signal_after_the_verdict_does_not_change_it(tmp_path: Path, name: str) -> None:
    done = signalled(tmp_path, AFTER, name)
    assert (done.returncode, done.stderr) == (0, "")
    assert JUnitXml.fromfile(str(tmp_path / "report.xml")).tests == 3


@pytest.mark.slow
def test_a_signal_that_was_ignored_from_outside_stays_so(tmp_path: Path) -> None:
    bench = files(tmp_path, READ + "  - command: [sh, -c, 'kill -HUP $PPID']\n")
    command = [*COMMAND, "run", "plan.yaml", "--radio", bench.radio]
    ignoring = lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN)  # noqa: E731
    done = subprocess.run(
        command, cwd=tmp_path, env=environment(), preexec_fn=ignoring, stdin=subprocess.DEVNULL, timeout=PATIENCE,
        capture_output=True,
    )  # fmt: skip
    assert done.returncode == 0
    assert os.path.exists(bench.records()[0])


BEGUN = """
import os
from benchrig import signals
signals.begin()
os.write(2, b"begun\\n")
"""
LONG_RUN = LONG + "  - wait: 300 ms\n  - notify: temperature\n    for: 200 ms\n" + MARK
NOTIFYING = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, notify], value: 21.5 °C, notify: {period: 20 ms}}
"""


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200))
def test_a_signal_at_any_moment(tmp_path: Path, seed: int) -> None:
    """The moments are spread over start, run and end. Whenever it comes: the record is whole, the exit code is the
    record's (2 without one), the report is valid or absent, and yesterday's is gone."""
    luck = random.Random(seed)
    number = luck.choice([signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
    bench = files(tmp_path, LONG_RUN, device=NOTIFYING)
    report = tmp_path / "report.xml"
    report.write_text("<testsuites/>")
    words = ["run", "plan.yaml", "--radio", bench.radio, "--real-time", "--junit", "report.xml"]
    process = subprocess.Popen(
        [sys.executable, "-c", BEGUN + PROGRAM.format(patch=""), *words],
        cwd=tmp_path, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    assert process.stderr.readline() == b"begun\n"
    time.sleep(luck.uniform(0, 3.5))
    process.send_signal(number)
    _, errors = process.communicate(timeout=PATIENCE)
    assert b"Traceback" not in errors
    if not bench.records():
        assert (process.returncode, report.exists()) == (2, False)
        return
    record = record_of(bench)
    assert record.ended is not None
    assert process.returncode == record.ended.exit_code
    assert JUnitXml.fromfile(str(report)).tests > 1


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("tests/test_valve.py::test_watering_time_is_kept over", "tests-test-valve-py-test-watering-time"),
        ("Nightly: valves", "nightly-valves"),
        ("x" * 50, "x" * 40),
        ("n" * 40 + " more", "n" * 40),
    ],
)
def test_the_name_of_a_folder_ends_with_a_whole_word(name: str, slug: str) -> None:
    assert _slug(name) == slug
