"""A run that is carried out step by step: its record is that of a run in one go, a signal ends it in order."""

from __future__ import annotations

import gc
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from benchrig.launch import Finished, RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.pytesting.stepping import SteppedRun
from benchrig.radio.specify import RadioChoice
from benchrig.record.events import AnyEvent, RunStarted
from benchrig.record.journal import read_record
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.pytesting.conftest import PROJECT
from tests.pytesting.kit import plan_text


def options(plan: str) -> RunOptions:
    loaded = load_plan(PROJECT / "plans" / f"{plan}.yaml", {})
    radio = RadioChoice("virtual", files=(PROJECT / "devices/probe.yaml",))
    return RunOptions(loaded, loaded.nodes, Station("bench"), radio, None, seed=7, acknowledged=True)


def without_date(events: list[AnyEvent]) -> list[AnyEvent]:
    return [replace(each, run_id="", started="") if isinstance(each, RunStarted) else each for each in events]


@pytest.mark.parametrize("plan", ["smoke", "alarm", "links"])
def test_its_record_is_that_of_a_run_in_one_go(plan: str) -> None:
    whole: list[AnyEvent] = []
    launch(options(plan), Unattended(), [whole.append])
    stepped: list[AnyEvent] = []
    run = SteppedRun(options(plan), Unattended(), [stepped.append])
    for node in options(plan).nodes:
        before = len(stepped)
        run.advance(node.id)
        assert {each.where.node.partition(".")[0] for each in stepped[before:] if getattr(each, "where", None)} == {
            node.id
        }
    assert run.finish(interrupt=False).record.verdict == "pass"
    assert without_date(stepped) == without_date(whole)


def stepped(options: RunOptions) -> Finished:
    run = SteppedRun(options, Unattended())
    run.advance(options.nodes[0].id)
    return run.finish(interrupt=False)


@pytest.fixture
def uncollected() -> Iterator[None]:
    gc.collect()
    gc.disable()
    yield
    gc.enable()


@pytest.mark.parametrize("carried_out", [stepped, lambda options: launch(options, Unattended())])
def test_a_plan_that_is_over_is_gone(uncollected: None, carried_out: Callable[[RunOptions], Finished]) -> None:
    """At once: those of many runs would fill the memory, and be looked through for garbage again and again."""
    given = options("smoke")
    plan = weakref.ref(given.plan)
    finished = carried_out(given)
    del given
    assert finished.record.verdict == "pass"
    assert plan() is None


@pytest.mark.parametrize("signal", ["INT", pytest.param("TERM", marks=pytest.mark.slow)])
def test_a_signal_ends_the_session_after_the_clean_up(project: Path, start, signal: str) -> None:
    steps = (
        f"  - connect:\n  - command: [sh, -c, 'kill -{signal} $PPID; sleep 30']\n    name: pressed\n"
        "  - read: battery level\n    expect: {value: {min: 20 %}}\n"
    )
    last = "  - write: 5e3a0002-71c4-4b0e-9d52-8f6e2a1b3c40\n    raw: F401\n    name: put it back\n"
    text = plan_text(steps, name="pressed", head="caution: none\n", cleanup=last)
    (project / "pressed.yaml").write_text(text, "utf-8")
    session = start("pressed.yaml", "plans/smoke.yaml", "--benchrig-acknowledge")
    assert session.came == {"pressed::connect": "passed"}
    assert session.code == 2
    assert "record: " in session.text
    assert "INTERNALERROR" not in session.text
    [record] = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    assert [each.ended and (each.planned.name, each.ended.verdict) for each in record.steps] == [
        ("connect", "pass"), ("pressed", "error"), ("read battery level", "skip"), ("put it back", "pass"),
    ]  # fmt: skip
    assert record.ended is not None
    assert (record.ended.cause, record.ended.exit_code) == ("operator", 2)


def test_a_signal_in_the_first_step_leaves_nothing_behind(project: Path, start) -> None:
    """No item has come to anything then; the clean-up is done all the same."""
    text = plan_text(
        "  - command: [sh, -c, 'kill -INT $PPID; sleep 30']\n    about: fixture\n  - connect:\n",
        name="first",
        cleanup=f"  - command: [touch, '{project}/cleaned']\n    about: fixture\n",
    )
    (project / "first.yaml").write_text(text, "utf-8")
    session = start("first.yaml")
    assert (session.code, session.came) == (2, {})
    assert (project / "cleaned").exists(), session.text
    [record] = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    assert record.ended is not None


def test_the_time_of_another_plugin_ends_the_step_and_the_clean_up_is_done(project: Path, start) -> None:
    """It raises in the loop, from a signal of its own: the item is an error in its words, and no session ends with it."""
    (project / "waiting.py").write_text(
        "import signal, sys, threading, time\n"
        "def long(bench):\n"
        "    main = threading.main_thread().ident\n"
        "    while sys._current_frames()[main].f_code.co_name != 'select': time.sleep(0.001)\n"
        "    signal.pthread_kill(main, signal.SIGALRM)\n"
        "    time.sleep(1)\n",
        "utf-8",
    )
    text = plan_text(
        "  - connect:\n  - call: waiting:long\n    name: late\n"
        "  - read: battery level\n    expect: {value: {min: 20 %}}\n",
        name="timed",
        cleanup="  - read: model number\n    expect: {value: {equals: GHP1}}\n",
    )
    (project / "timed.yaml").write_text(text, "utf-8")
    (project / "conftest.py").write_text(
        "import pytest, signal\n"
        "def late(*_): pytest.fail('time is over')\n"
        "def pytest_runtest_setup(item): signal.signal(signal.SIGALRM, late)\n",
        "utf-8",
    )
    session = start("timed.yaml", "plans/smoke.yaml")
    assert session.came["timed::late"] == "error"
    assert "time is over" in session.said["timed::late"]
    assert (session.came["timed::read battery level"], session.came["timed::read model number"]) == (
        "skipped",
        "passed",
    )
    assert session.came["Smoke test::read battery level"] == "passed"
    assert session.code == 1
    [record] = [read_record(path) for path in project.glob("results/*timed/record.jsonl")]
    assert record.ended is not None
    assert (record.ended.cause, record.ended.root and record.ended.root.node) == ("operator", "2")
