"""What pytest says of a Python test that an error of benchrig has ended: benchrig's words, and the lines of the test.

limit, device and link are failures, whatever phase they were raised in: a fixture that does not find the unit has judged it.
station, plan, operator and internal are errors: nothing was judged. pytest knows failures in the test and errors before and
behind it, and so do its JUnit file and its counts: such a report tells that it is of the other phase.
"""

from __future__ import annotations

import sysconfig
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchrig.api.place import shown
from benchrig.errors import BenchrigError
from benchrig.pytesting.python_run import PythonRun, run_of
from benchrig.pytesting.telling import as_error
from benchrig.pytesting.wishes import place_of
from benchrig.run.ending import verdict_of
from benchrig.source.problem import Problem

# benchrig, Python and pytest, with the packages beside it.
_NOT_SHOWN = (
    str(Path(__file__).parents[1]),
    str(sysconfig.get_path("stdlib")),
    str(Path(pytest.__file__).parents[1]),
    "<",
)


def complete(item: pytest.Item, report: pytest.TestReport, call: pytest.CallInfo[None]) -> None:
    """Of one phase."""
    run = run_of(item)
    if run is not None and call.when != "teardown":
        run.hear(call.excinfo, call.when)
    elif run is not None:
        vars(report)["benchrig_runs"] = list(_told(run))
    if call.excinfo is None or (report.skipped and not isinstance(call.excinfo.value, BenchrigError)):
        return
    marks = run.marks if run is not None else []
    if isinstance(call.excinfo.value, BenchrigError):
        _in_own_words(item, report, call.excinfo, call.excinfo.value, marks)
    elif getattr(call.excinfo.value, "pytrace", True):
        _marked(report, marks)


def _in_own_words(
    item: pytest.Item,
    report: pytest.TestReport,
    excinfo: pytest.ExceptionInfo[BaseException],
    error: BenchrigError,
    marks: list[str],
) -> None:
    verdict = verdict_of(error)
    if hasattr(report, "wasxfail") and verdict == "fail":
        return
    as_error(report)
    head = f"{verdict} ({error.cause}): {error.message}"
    lines = [*_lines(excinfo)] or [_line_of(item)]
    advice = [f"advice: {error.advice}"] if error.advice else []
    told = {f"{each.place.source.name}:{each.place.line}" for each in _problems(error)}
    texts = [text for path, line, text in lines if f"{shown(path)}:{line}" not in told]
    report.longrepr = _shown(excinfo, [head, *texts, *advice, *marks], lines[-1])
    if report.when != "teardown":
        report.when = "call" if verdict == "fail" else "setup"


def _problems(error: BenchrigError) -> Iterator[Problem]:
    """Those whose line the message has."""
    yield from (each for each in getattr(error, "problems", ()) if isinstance(each, Problem))


def _shown(excinfo: pytest.ExceptionInfo[BaseException], texts: list[str], line: tuple[str, int, str]) -> Any:
    """As pytest shows what has no traceback."""
    failed = pytest.fail.Exception("\n".join(texts), pytrace=False)
    shown: Any = pytest.ExceptionInfo.from_exc_info((type(failed), failed, excinfo.tb)).getrepr(style="value")
    if (crash := shown.reprcrash) is not None:
        crash.path, crash.lineno, crash.message = line[0], line[1], " ".join(texts[0].split())
    return shown


def _marked(report: pytest.TestReport, marks: list[str]) -> None:
    """Beside pytest's own words for what is no error of benchrig."""
    add = getattr(report.longrepr, "addsection", None)
    if add is not None and marks:
        add("benchrig", "\n".join(marks))


def _lines(excinfo: pytest.ExceptionInfo[BaseException]) -> Iterator[tuple[str, int, str]]:
    """The lines of the test, and of what it calls, that led to the error."""
    for entry in excinfo.traceback:
        path, line = Path(entry.path), entry.lineno + 1
        if not str(path).startswith(_NOT_SHOWN):
            yield str(path), line, f"  {shown(str(path))}:{line}: {str(entry.statement).strip()}"


def _line_of(item: pytest.Item) -> tuple[str, int, str]:
    """Where nothing of the test was reached: the test."""
    place = place_of(item)
    return place.source.name, place.line, f"  {place.source.name}:{place.line}: in a fixture of {item.name}"


def _told(run: PythonRun) -> Iterator[list[str]]:
    """For pytest's JUnit file: where the record is."""
    if run.radio is not None and run.radio.folder is not None:
        yield [run.item.nodeid, "", str(run.radio.folder)]
