"""The options of a command that writes reports: they are made of the reports that there are, when they are needed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from benchrig.extensions import Extension, Unusable
    from benchrig.report.registry import Report


class ReportingCommand(click.Command):
    """Has an option for each report; its function gets all reports as `reports`. Of those that other packages bring, one
    that cannot be used is told, and ends the command only where its option is given."""

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        *own, help_option = super().get_params(ctx)
        taken = {word for each in (*own, help_option) for word in each.opts}
        found, wrong = _all_reports(taken)
        made = [option for report, extension in found for option in _options(report, extension)]
        taken |= {word for each in made for word in each.opts}
        refusing = [_refusing(name, error) for name, error in wrong.items() if f"--{name}" not in taken]
        return [*own, *made, *refusing, help_option]

    def invoke(self, ctx: click.Context) -> Any:
        from benchrig.cli.out import tell
        from benchrig.report.registry import ReportChoice

        found, wrong = _all_reports({word for each in self.params for word in each.opts})
        for error in wrong.values():
            tell(f"benchrig: {error.message}")
            tell(f"  {error.advice}")
        ctx.params["reports"] = tuple(
            ReportChoice(each, ctx.params.pop(_variable(each)), ctx.params.pop(f"{_variable(each)}_dialect", ""))
            for each, _ in found
        )
        return super().invoke(ctx)


def _all_reports(taken: set[str]) -> tuple[list[tuple[Report, Extension | None]], dict[str, Unusable]]:
    """Those of benchrig and of other packages; `taken` are the options that the command has for something else."""
    from benchrig.report.brought import brought_reports
    from benchrig.report.registry import reports

    found: list[tuple[Report, Extension | None]] = [(report, None) for report in reports()]
    brought, wrong = brought_reports()
    for extension, report in brought.items():
        if report.option in taken:
            wrong[report.name] = extension.unusable([f"{report.option} is an option of benchrig"])
        else:
            found.append((report, extension))
    return found, wrong


def _options(report: Report, extension: Extension | None) -> Iterator[click.Option]:
    name = _variable(report)
    words = f"{report.help}  [{extension.source}]" if extension else report.help
    yield click.Option([report.option, name], type=click.Path(path_type=Path), metavar="FILE", help=words)
    if report.dialects:
        default, *_ = report.dialects
        choice = click.Choice([*report.dialects])
        words = f"Dialect of {report.file_name} and of the file of {report.option}."
        yield click.Option([f"{report.option}-dialect", f"{name}_dialect"], type=choice, default=default, help=words)


def _refusing(name: str, error: Unusable) -> click.Option:
    """The option of a report that cannot be used."""

    def refuse(ctx: click.Context, _: click.Parameter, value: str | None) -> None:
        if value is not None:
            from benchrig.cli.failing import errors_for_people

            with errors_for_people():
                raise error

    return click.Option([f"--{name}"], hidden=True, expose_value=False, callback=refuse)


def _variable(report: Report) -> str:
    return f"report_{report.name.replace('-', '_')}"
