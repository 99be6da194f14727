"""The options of a command that writes reports: they are made of the reports that there are, when they are needed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from benchrig.report.registry import Report


class ReportingCommand(click.Command):
    """Has an option for each report; its function gets all reports as `reports`."""

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        from benchrig.report.registry import reports

        *own, help_option = super().get_params(ctx)
        return [*own, *(option for report in reports() for option in _options(report)), help_option]

    def invoke(self, ctx: click.Context) -> Any:
        from benchrig.report.registry import ReportChoice, reports

        ctx.params["reports"] = tuple(
            ReportChoice(each, ctx.params.pop(_variable(each)), ctx.params.pop(f"{_variable(each)}_dialect", ""))
            for each in reports()
        )
        return super().invoke(ctx)


def _options(report: Report) -> Iterator[click.Option]:
    name = _variable(report)
    yield click.Option([report.option, name], type=click.Path(path_type=Path), metavar="FILE", help=report.help)
    if report.dialects:
        default, *_ = report.dialects
        choice = click.Choice([*report.dialects])
        words = f"Dialect of {report.file_name} and of the file of {report.option}."
        yield click.Option([f"{report.option}-dialect", f"{name}_dialect"], type=choice, default=default, help=words)


def _variable(report: Report) -> str:
    return f"report_{report.name}"
