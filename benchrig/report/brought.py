"""The reports that other packages bring, checked as far as those of benchrig are by tests."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from benchrig.errors import StationError
from benchrig.extensions import Extension, Unusable, extensions, is_forbidden, usable
from benchrig.report.registry import Render, Report, ReportChoice, reports

# Files that a run or its results folder has beside reports.
_TAKEN = {"record", "console", "index", "plan"}


def brought_reports() -> tuple[dict[Extension, Report], dict[str, Unusable]]:
    """Those that can be used, and by name what is wrong with the others."""
    return usable("report", checked_report)


@cache
def checked_report(extension: Extension) -> Report:
    """The report that it names, which raises StationError where it breaks off. Unusable with all that does not fit."""
    report: Report = extension.checked(_misfits)
    dialects = {name: _guarded(extension, render) for name, render in report.dialects.items()}
    return replace(report, render=_guarded(extension, report.render), dialects=dialects, join=None)


def _misfits(extension: Extension, report: Any) -> Iterator[str]:
    if not isinstance(report, Report):
        yield f"{extension.point.value} is not a benchrig.extend.Report"
        return
    name = extension.name
    own = [*reports()]
    if not re.fullmatch(r"[a-z][a-z0-9_-]*", name):
        yield f"'{name}' is not the name of a file: expected lower-case letters, digits, - and _"
    if name in {*_TAKEN, *(each.name for each in own), *(each.option.strip("-") for each in own)}:
        yield f"'{name}' is a word of benchrig"
    if report.name != name:
        yield f"its name is '{report.name}', and its entry point is named '{name}'"
    if report.option != f"--{name}":
        yield f"its option is '{report.option}', not '--{name}'"
    if not re.fullmatch(r"(\.[A-Za-z0-9]+)+", report.suffix):
        yield f"'{report.suffix}' is not a suffix such as .html"
    if not (isinstance(report.help, str) and report.help.strip()):
        yield "it has no help, which is the text of its option"
    if not (isinstance(report.begins, bytes) and report.begins):
        yield "'begins' is empty: nothing tells an earlier report from another file"
    if not all(map(callable, (report.render, *report.dialects.values()))):
        yield "its render is not a function"


def _guarded(extension: Extension, render: Render) -> Render:
    def rendered(record: Any) -> bytes:
        try:
            made = render(record)
        except Exception as error:
            raise extension.broke_off(error) from error
        if not isinstance(made, bytes):
            raise extension.unusable([f"it made a {type(made).__name__}, not bytes"])
        return made

    return rendered


def all_reports() -> tuple[ReportChoice, ...]:
    """Each report in the folder of the run alone."""
    return tuple(map(ReportChoice, [*reports(), *brought_reports()[0].values()]))


def allowed(choices: Sequence[ReportChoice], forbid: Sequence[str]) -> list[ReportChoice]:
    """Without those of packages that a station forbids."""
    return [choice for choice in choices if _forbidden(choice, forbid) is None]


def check_allowed(choices: Sequence[ReportChoice], forbid: Sequence[str]) -> None:
    """See that the station allows what was asked for by its option. StationError."""
    for choice in choices:
        if choice.file is not None and (extension := _forbidden(choice, forbid)):
            message = f"this station forbids what {extension.source} brings: {choice.report.option}"
            raise StationError(message, advice="leave the option out, or allow the package in the station file")


def _forbidden(choice: ReportChoice, forbid: Sequence[str]) -> Extension | None:
    """What brings the report, where the station forbids that."""
    found = (each for each in extensions("report") if each.name == choice.report.name) if forbid else ()
    return next((each for each in found if is_forbidden(each.package, forbid)), None)
