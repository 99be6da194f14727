"""`benchrig inspect`: all of a device: its table, its values, and what is wrong with it."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.completing import attributes_option
from benchrig.cli.desk import at_desk, device_options, forbidden_here, known_names
from benchrig.cli.options import acknowledge_option, flag, json_option, option, path_option
from benchrig.cli.out import echo, is_ascii_due, tell, whatever_the_output_does
from benchrig.cli.try_write import ask, caution_of, try_write_option
from benchrig.errors import UsageError
from benchrig.terminal import console

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.inspecting_security import PairingLook
    from benchrig.desk.inspection import Inspection
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
@flag("--twice", help="With --pair: pair twice, to see whether the device shows the same passkey.")
@try_write_option("With --pair: write its own value to this attribute without security, if reading needs it")
@acknowledge_option()
@device_options
def inspect(form: str, as_json: bool, save: Path | None, force: bool, against: Path | None, strict: bool,
            skip: tuple[str, ...], twice: bool, try_write: tuple[str, ...], acknowledge: bool, desk: DeskOptions) -> None:  # fmt: skip
    """Connect, read the whole attribute table and every value in it, and say what is wrong with them. With --pair the
    device is paired with, whether the station has a bond or not: what needs security is read too, and how the device
    pairs is judged. The bond is kept (benchrig bonds), on host until the command ends.

    Exits with 1 when the device is absent, the link is lost, or the device cannot be paired with.

    \b
    Example:
      benchrig inspect -d 'VFL-*'
      benchrig inspect -d 'VFL-*' --pair keyboard --save golden.json
      benchrig inspect -d 'VFL-*' --against golden.json --strict
    """
    from benchrig.desk.comparing import compare
    from benchrig.desk.findings.brought import all_findings
    from benchrig.desk.inspecting import inspect as look_at_all
    from benchrig.desk.inspection_file import Document, check_target, load_document, save_document

    if save is not None:
        check_target(save, force=force)
    before = load_document(against).inspection if against is not None else None
    known_names(desk, [*skip, *try_write])
    pairing, caution = _pairing(desk, twice, try_write), caution_of(try_write, acknowledge)

    async def look(at: Desk) -> Inspection:
        await ask(caution)
        return await look_at_all(at, skip, pairing)

    seen = at_desk(replace(desk, pair=None), look)
    found, unjudged = all_findings(seen, forbidden_here())
    document = Document(seen, found, compare(before, seen) if before is not None else None)
    if save is not None:
        save_document(document, save)
    with whatever_the_output_does():
        _show(document, "json" if as_json else form)
    if before is not None and before.broken:
        tell(f"note: {against} is not whole: {before.broken}")
    if seen.broken:
        tell(f"benchrig: {seen.broken}")
    for trouble in unjudged:
        tell(f"benchrig: {trouble.message}")
    unpaired = seen.security is not None and bool(seen.security.failure)
    differs = document.comparison is not None and not document.comparison.same_structure
    breaks_a_standard = any(finding.severity == "error" for finding in document.findings)
    if seen.broken or unpaired or differs or (strict and breaks_a_standard):
        sys.exit(1)
    if strict and unjudged:
        sys.exit(7)  # nobody knows what these rules would have found


def _pairing(desk: DeskOptions, twice: bool, writes: tuple[str, ...]) -> PairingLook | None:
    from benchrig.desk.inspecting_security import PairingLook

    if desk.pair is not None:
        return PairingLook(desk.pair, twice, writes)
    if twice or writes:
        raise UsageError("--twice and --try-write go with --pair", advice="for example: --pair keyboard")
    return None


def _show(document: Document, form: str) -> None:
    if form == "text":
        from benchrig.cli.inspection_text import render

        render(document.inspection, document.findings, console(), document.comparison)
    else:
        from benchrig.desk.inspection_file import document_text

        echo(document_text(document, form, ascii_only=is_ascii_due()), nl=False)
