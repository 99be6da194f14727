"""A session of pytest that is over, by its reports; and files for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

HEAD = "device:\n  select: {name: GHP-*}\n"


def plan_text(steps: str, *, name: str = "A plan", head: str = "", cleanup: str = "") -> str:
    """A plan on the probe of the project; `steps` as a list in YAML, two spaces in."""
    return f"plan: {name}\n{head}{HEAD}steps:\n{steps}" + (f"finally:\n{cleanup}" if cleanup else "")


@dataclass
class Session:
    """`came` are the outcomes by the last part of the id: passed, failed, error, skipped; of what failed after an item, that is
    'later'. `said` are the texts of what did not pass."""

    code: int
    ids: list[str]
    came: dict[str, str]
    said: dict[str, str]
    text: str
    reports: list[Any]

    @classmethod
    def of(cls, pytester: pytest.Pytester, words: list[str]) -> Session:
        seen = _Seen()
        result = pytester.runpytest_inprocess(*words, plugins=[seen], no_reraise_ctrlc=True)
        came, said = dict[str, str](), dict[str, str]()
        for report in seen.reports:
            name = report.nodeid.partition("::")[2]
            said |= {f"{name} later" if report.when == "teardown" else name: _text(report)} if report.longrepr else {}
            if report.when == "teardown":
                came |= {f"{name} later": "error"} if report.failed else {}
            elif report.when == "call" or not report.passed:
                came[name] = _outcome(report)
        return cls(int(result.ret), seen.ids, came, said, result.stdout.str() + result.stderr.str(), seen.reports)

    def counts(self) -> dict[str, int]:
        found = [*self.came.values()]
        return {each: found.count(each) for each in dict.fromkeys(found)}


def _outcome(report: Any) -> str:
    if hasattr(report, "wasxfail"):
        return "xfailed" if report.skipped else "xpassed"
    return "error" if report.failed and report.when == "setup" else str(report.outcome)


def _text(report: Any) -> str:
    return report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)


class _Seen:
    def __init__(self) -> None:
        self.reports: list[Any] = []
        self.ids: list[str] = []

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.ids = [item.nodeid for item in session.items]

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.reports.append(report)


def steps_of(path: Path, *added: str) -> None:
    """Put steps before the last one of a plan."""
    lines = path.read_text("utf-8").splitlines(keepends=True)
    last = max(number for number, line in enumerate(lines) if line.startswith("  - "))
    path.write_text("".join([*lines[:last], *added, *lines[last:]]), "utf-8")
