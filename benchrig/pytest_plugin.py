"""The plugin of pytest: its options and its hooks. What stands behind them is in `benchrig.pytesting`, and is loaded by
the first plan, or by a radio that is named; a project without either pays for a look at its YAML files alone.
"""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from benchrig.pytesting.collecting import PlanFile

# Option and ini key of one name: what each is for, its metavariable, and the kind of the ini key.
_OPTIONS = {
    "radio": ("The radio, as for 'benchrig run'. BENCHRIG_RADIO does not count.", "RADIO", "string"),
    "station": ("The station file.", "FILE", "string"),
    "seed": ("The seed of a virtual radio.", "N", "string"),
    "results": ("Where each run leaves its folder (default: results, beside the ini file).", "DIR", "string"),
    "history": (
        "The history that runs come into: a file, or postgresql://USER@HOST/DATABASE (default: as for 'benchrig run').",
        "HISTORY",
        "string",
    ),
    "names": ("A plan, or a file of names, for Python tests.", "FILE", "string"),
    "wait": ("Seconds to wait for a radio that another process has (default: 60).", "SECONDS", "string"),
}
_LISTS = {
    "set": ("set", "A given value for the plans that ask for it; may be given several times.", "NAME=VALUE"),
    "case": (
        "cases",
        "Run plans that ask for all of these values once with them, beside other cases; may be given several times.",
        "'CASE: NAME=VALUE, …'",
    ),
    "limits": ("limits", "A limit set for the plan that it names; may be given several times.", "FILE"),
}
# Present once a plan was met, or may be met by a worker.
_RUNS = pytest.StashKey[Any]()
# A test that takes one of these is ours to tell of.
_FIXTURES = {"benchrig_radio", "benchrig_radio_sync", "record_reading"}
_ACKNOWLEDGE = "You have read the cautions of the plans and done what they say."


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("benchrig", "test plans for Bluetooth LE devices")
    for name, (help_, metavar, kind) in _OPTIONS.items():
        group.addoption(f"--benchrig-{name}", metavar=metavar, default=None, help=help_)
        parser.addini(f"benchrig_{name}", help_, type=kind, default="")  # type: ignore[arg-type]
    for name, (key, help_, metavar) in _LISTS.items():
        group.addoption(f"--benchrig-{name}", metavar=metavar, action="append", default=None, help=help_)
        parser.addini(f"benchrig_{key}", help_, type="linelist", default=[])
    group.addoption("--benchrig-acknowledge", action="store_true", default=False, help=_ACKNOWLEDGE)
    parser.addini("benchrig_acknowledge", _ACKNOWLEDGE, type="bool", default=False)


def pytest_configure(config: pytest.Config) -> None:
    from benchrig.pytesting import fixtures

    config.addinivalue_line(
        "markers", "benchrig(unit=…, names=…, radio=…): what the fixtures of benchrig open and find"
    )
    config.pluginmanager.register(fixtures, "benchrig-fixtures")
    if _is_used(config):
        from benchrig.pytesting.settings import settings_of

        settings_of(config)  # what is wrong with them is said before anything else is done


def _is_used(config: pytest.Config) -> bool:
    """Whether anybody has said anything about benchrig."""
    keys = [f"benchrig_{name}" for name in _OPTIONS]
    lists = [(f"benchrig_{name}", f"benchrig_{key}") for name, (key, *_) in _LISTS.items()]
    return any(
        config.getoption(option) or config.getini(ini) for option, ini in [*zip(keys, keys, strict=True), *lists]
    )


def pytest_report_header(config: pytest.Config) -> str | None:
    if not _is_used(config):
        return None
    from benchrig.pytesting.settings import settings_of
    from benchrig.text.escape import plain

    settings = settings_of(config)
    mark = ", SIMULATED: no real unit is tested" if settings.radio.simulated else ""
    sets = [plain(f"limits of '{plan}': {path.name}") for plan, path in settings.limits.items()]
    radio = [f"radio {settings.radio}{mark}"] if settings.is_named else []
    return f"benchrig: {'; '.join([*radio, *sets])}" if radio or sets else None


# --- plans


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> PlanFile | None:
    if file_path.suffix not in (".yaml", ".yml"):
        return None
    from benchrig.plan.looks import is_plan

    if not is_plan(file_path):
        return None
    from benchrig.pytesting.collecting import PlanFile

    _expect_runs(parent.config)
    return PlanFile.from_parent(parent, path=file_path)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(session: pytest.Session, config: pytest.Config, items: list[pytest.Item]) -> None:
    if _RUNS in config.stash:
        from benchrig.pytesting.collecting import check_values, in_order

        items[:] = in_order(items)
        if not session.testsfailed:  # else there may be plans of which nothing is known
            check_values(config, items)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if {*getattr(item, "fixturenames", ())} & _FIXTURES:
        from benchrig.pytesting.failing import complete

        _expect_runs(item.config)
        complete(item, report, call)
    if _RUNS in item.config.stash:
        from benchrig.pytesting.collecting import StepItem

        if isinstance(item, StepItem):
            item.complete(report)
    return report


# --- Python tests


@pytest.hookimpl(wrapper=True)
def pytest_generate_tests(metafunc: pytest.Metafunc) -> Generator[None]:
    """Before pytest-asyncio asks for the loop of a test that takes a radio."""
    plugins, name = metafunc.config.pluginmanager, "benchrig-loops"
    if "benchrig_radio" in metafunc.fixturenames and plugins.hasplugin("asyncio") and not plugins.hasplugin(name):
        from benchrig.pytesting import loops

        plugins.register(loops, name)
    return (yield)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Plans stay whole, however items are dealt out; where whole files are, they do so anyway."""
    if config.getvalue("dist") not in ("load", "worksteal", "loadgroup"):
        return None
    from benchrig.pytesting.distributing import Scheduling

    _expect_runs(config)
    return Scheduling(config, log)


def _expect_runs(config: pytest.Config) -> None:
    """Somebody has to hear of the runs that end, and show them."""
    if _RUNS not in config.stash:
        from benchrig.pytesting.telling import NAME, Runs

        config.stash[_RUNS] = runs = Runs(config)
        config.pluginmanager.register(runs, NAME)
