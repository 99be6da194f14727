"""What starting costs: help and check must not load the radio, the screen or the codecs they do not use.

Each case runs in a process of its own, as modules that another test has loaded would hide everything.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.history.questions.kit import entry, history_of

ROOT = Path(__file__).parents[2]
GOOD = "testplans/end_of_line.yaml"
RADIO = {"bleak", "bumble", "usb", "usb1", "dbus_fast", "serial"}
# What histories and figures are made with.
NUMBERS = {"sqlalchemy", "alembic", "psycopg", "numpy", "scipy", "matplotlib", "pyarrow", "pandas"}

PROGRAM = """
import json, sys
from benchrig.cli import main
try:
    code = main(sys.argv[1:], prog_name="benchrig", standalone_mode=False)
except SystemExit as end:
    code = end.code
print("\\n" + json.dumps([code, sorted({name.partition(".")[0] for name in sys.modules})]))
"""


def started(*arguments: str) -> tuple[int | None, set[str]]:
    """The exit code of a command and the packages that it has loaded."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments], cwd=ROOT, capture_output=True, text=True, timeout=50
    )
    assert done.stdout, done.stderr
    code, modules = json.loads(done.stdout.splitlines()[-1])
    return code, set(modules)


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["--version"],
        ["run", "--help"],
        ["check", "--help"],
        ["yield", "--help"],
        ["line", "run", "--help"],
    ],
)
def test_help_loads_nothing_heavy(words):
    _, modules = started(*words)
    assert modules & (RADIO | NUMBERS | {"rich", "msgspec", "yaml", "asyncio"}) == set()


def test_a_question_to_a_history_loads_what_it_needs_alone(tmp_path):
    history_of(tmp_path, [entry(1)]).close()
    code, modules = started("history", "runs", "--history", str(tmp_path / "history.sqlite"))
    assert (code, "sqlalchemy" in modules) == (None, True)
    assert modules & (RADIO | NUMBERS) == {"sqlalchemy"}


def test_python_m_benchrig_loads_nothing_heavy():
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "benchrig", "--help"], capture_output=True, text=True, timeout=50
    )
    loaded = {line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()}
    assert (done.returncode, "click" in loaded) == (0, True)
    assert loaded & (RADIO | {"rich", "msgspec", "yaml"}) == set()


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["check", GOOD], marks=pytest.mark.slow),
        ["check", "--schema"],
        ["check", GOOD, "--set", "serial=VFL3-000001"],
    ],
)
def test_check_loads_no_radio_and_no_screen(words):
    code, modules = started(*words)
    assert (code, modules & (RADIO | NUMBERS | {"rich"})) == (None, set())


@pytest.mark.parametrize("command", [pytest.param("check", marks=pytest.mark.slow), "log"])
def test_what_is_asked_of_a_line_loads_no_radio_and_no_screen(command):
    _, modules = started("line", command, "testplans/stations/line3.yaml")
    assert modules & (RADIO | NUMBERS | {"rich", "prompt_toolkit"}) == set()


def test_a_bad_plan_ends_with_4_before_any_radio_is_opened(tmp_path):
    (tmp_path / "bad.yaml").write_text("plan: a\nsteps: []\n")
    code, modules = started(
        "run", str(tmp_path / "bad.yaml"), "--radio", "host", "--results", str(tmp_path / "results")
    )
    assert (code, "bumble" in modules, (tmp_path / "results").exists()) == (4, False, False)


def test_a_simulated_run_loads_no_other_radio_and_nothing_to_propose_or_to_type(tmp_path):
    code, modules = started(
        "run", "testplans/smoke.yaml", "--radio", "virtual:testplans/devices/logger.yaml", "--results", str(tmp_path)
    )
    assert (code, "bumble" in modules) == (0, True)
    assert modules & {"scipy", "numpy", "prompt_toolkit", "dbus_fast", "usb", "usb1", "serial"} == set()


@pytest.mark.slow
def test_a_gauge_study_loads_no_statistics_before_its_result(tmp_path: Path) -> None:
    """A station that measures for minutes has no use for them."""
    device = "virtual:testplans/devices/logger.yaml"
    heavy = {"numpy", "scipy", "matplotlib", "sqlalchemy", "alembic", "psycopg"}
    study = str(tmp_path / "study")
    for words in (
        ["begin", study, "testplans/smoke.yaml", "--units", "VFL3-000001", "--repeats", "2"],
        ["run", study, "--radio", device],
        ["status", study],
    ):
        code, modules = started("gauge", *words)
        assert (code or 0, modules & heavy) == (0, set()), words


def test_a_run_without_a_history_loads_none(tmp_path):
    words = (
        "run",
        "testplans/smoke.yaml",
        "--radio",
        "virtual:testplans/devices/logger.yaml",
        "--results",
        str(tmp_path),
    )
    code, modules = started(*words)
    assert code == 0
    assert modules & {"sqlalchemy", "alembic", "numpy", "scipy", "matplotlib", "psycopg", "pyarrow", "sqlite3"} == set()
