"""`benchrig inspect`: all of a device: its table, its values, and what is wrong with it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.completing import attributes_option
from benchrig.cli.desk import at_desk, device_options, known_names
from benchrig.cli.options import flag, json_option, option, path_option
from benchrig.cli.out import echo, is_ascii_due, tell, whatever_the_output_does
from benchrig.terminal import console

if TYPE_CHECKING:
    from benchrig.desk.desk import DeskOptions
    from benchrig.desk.inspection_file import Document


@click.command(short_help="Show all of a device, and what is wrong with it.")
@option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "yaml"]),
    default="text",
    help="What is written to the standard output.",
)
@json_option("The same as --format json.")
@path_option("--save", help="Keep it in a file too, .json or .yaml.")
@flag("--force", help="With --save: write over a file that exists.")
@path_option(
    "--against",
    there=True,
    help="Say what has changed since --save wrote this file; exit with 1 when it is more than values.",
)
@attributes_option("--skip", help="Do not read this attribute; may be given several times.")
@flag("--strict", help="Exit with 1 when something breaks a standard.")
@device_options
def inspect(form: str, as_json: bool, save: Path | None, force: bool, against: Path | None, strict: bool,
            skip: tuple[str, ...], desk: DeskOptions) -> None:  # fmt: skip
    """Connect, read the whole attribute table and every value in it, and say what is wrong with them.

    Exits with 1 when the device is absent or the link is lost.

    \b
    Example:
      benchrig inspect -d 'VFL-*'
      benchrig inspect -d 'VFL-*' --save golden.json
      benchrig inspect -d 'VFL-*' --against golden.json --strict
    """
    from benchrig.desk.comparing import compare
    from benchrig.desk.findings import findings
    from benchrig.desk.inspecting import inspect as look_at_all
    from benchrig.desk.inspection_file import Document, check_target, load_document, save_document

    if save is not None:
        check_target(save, force=force)
    before = load_document(against).inspection if against is not None else None
    known_names(desk, skip)
    seen = at_desk(desk, lambda at: look_at_all(at, skip))
    document = Document(seen, findings(seen), compare(before, seen) if before is not None else None)
    if save is not None:
        save_document(document, save)
    with whatever_the_output_does():
        _show(document, "json" if as_json else form)
    if before is not None and before.broken:
        tell(f"note: {against} is not whole: {before.broken}")
    if seen.broken:
        tell(f"benchrig: {seen.broken}")
    differs = document.comparison is not None and not document.comparison.same_structure
    breaks_a_standard = any(finding.severity == "error" for finding in document.findings)
    if seen.broken or differs or (strict and breaks_a_standard):
        sys.exit(1)


def _show(document: Document, form: str) -> None:
    if form == "text":
        from benchrig.cli.inspection_text import render

        render(document.inspection, document.findings, console(), document.comparison)
    else:
        from benchrig.desk.inspection_file import document_text

        echo(document_text(document, form, ascii_only=is_ascii_due()), nl=False)
