"""`benchrig inspect`: all of a device: its table, its values, and what is wrong with it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.desk import at_desk, device_options, tell

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.inspection import Inspection
    from benchrig.desk.inspection_file import Document


@click.command(short_help="Show all of a device, and what is wrong with it.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "yaml"]),
    default="text",
    show_default=True,
    help="What is written to the standard output.",
)
@click.option("--json", "as_json", is_flag=True, help="The same as --format json.")
@click.option(
    "--save",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep it in a file too, .json or .yaml.",
)
@click.option("--strict", is_flag=True, help="Exit with 1 when something breaks a standard.")
@device_options
def inspect(form: str, as_json: bool, save: Path | None, strict: bool, desk: DeskOptions) -> None:
    """Connect, read the whole attribute table and every value in it, and say what is wrong with them.

    Exits with 1 when the device is absent or the link is lost.

    \b
    Example:
      benchrig inspect -d 'VFL-*'
      benchrig inspect -d 'VFL-*' --save golden.json
    """
    from benchrig.cli.common import whatever_the_output_does
    from benchrig.desk.findings import findings
    from benchrig.desk.inspection_file import Document, check_target, save_document

    if save is not None:
        check_target(save)
    seen = at_desk(desk, _look)
    document = Document(seen, findings(seen))
    if save is not None:
        save_document(document, save)
    with whatever_the_output_does():
        _show(document, "json" if as_json else form)
    if seen.broken:
        tell(f"benchrig: {seen.broken}")
        sys.exit(1)
    if strict and any(finding.severity == "error" for finding in document.findings):
        sys.exit(1)


async def _look(desk: Desk) -> Inspection:
    from benchrig.desk.inspecting import inspect as look_at_all

    return await look_at_all(desk, await desk.find())


def _show(document: Document, form: str) -> None:
    if form == "text":
        from benchrig.cli.common import console
        from benchrig.report.inspection_text import render

        render(document.inspection, document.findings, console())
    else:
        from benchrig.desk.inspection_file import document_text

        click.echo(document_text(document, form), nl=False)
