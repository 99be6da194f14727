"""`benchrig packages`: what other packages bring, and whether it can be used."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import json_option, path_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.extensions import Extension


@dataclass(frozen=True)
class Brought:
    """One thing of another package. `trouble` says why it cannot be used."""

    kind: str
    name: str
    package: str
    version: str
    says: str = ""
    keys: str = ""
    trouble: str = ""
    advice: str = ""
    forbidden: bool = False


@click.command(short_help="Show what other packages bring: step kinds, reports, rules.")
@path_option("--station", help="Also say what this station forbids.")
@json_option()
def packages(station: Path | None, as_json: bool) -> None:
    """Show the step kinds, reports and rules of inspect that installed packages bring, with the keys of each step. Each is
    imported and checked; what the station forbids is not. Exits with 7 when one cannot be used.

    \b
    Example:
      benchrig packages
      benchrig packages --station testplans/stations/line2.yaml --json
    """
    from benchrig.station.station import load_station

    with errors_for_people():
        found = [*_all(load_station(station).forbid)]
    with whatever_the_output_does():
        if as_json:
            print_json({"packages": [asdict(each) for each in found]})
        else:
            _show(found)
    if any(each.trouble for each in found):
        sys.exit(7)


def _show(found: list[Brought]) -> None:
    from benchrig.text.escape import plain

    if not found:
        echo("no package brings step kinds, reports or rules")
    for each in found:
        state = f"cannot be used: {each.trouble}" if each.trouble else each.says
        echo(f"{each.kind} {plain(each.name)}  {plain(each.package)} {plain(each.version)}")
        echo(f"  {'forbidden by this station' if each.forbidden else plain(state, 1000)}")
        for line in filter(None, (each.keys and f"keys: {each.keys}", each.advice)):
            echo(f"  {plain(line, 1000)}")


def _all(forbid: Sequence[str]) -> Iterator[Brought]:
    from benchrig.extensions import GROUPS, Unusable, extensions, is_forbidden, sole

    for what in GROUPS:
        for each in extensions(what):
            named = (each.what, each.name, each.package, each.version)
            if is_forbidden(each.package, forbid):
                yield Brought(*named, forbidden=True)
                continue
            try:
                sole(what, each.name)
                says, keys = _about(each)
                yield Brought(*named, says=says, keys=keys)
            except Unusable as error:
                yield Brought(*named, trouble=error.message, advice=error.advice)


def _about(extension: Extension) -> tuple[str, str]:
    """What it is, in a sentence, and the keys of a step. Unusable."""
    if extension.what == "report":
        return _about_report(extension), ""
    if extension.what == "rules":
        from benchrig.desk.findings.brought import checked_family

        return ", ".join(
            f"{rule.name} ({rule.severity}): {rule.meaning}" for rule in checked_family(extension).rules
        ), ""
    return _about_kind(extension)


def _about_report(extension: Extension) -> str:
    from benchrig.cli.run import run
    from benchrig.report.brought import checked_report

    report = checked_report(extension)
    own = click.Command.get_params(run, click.Context(run))
    if report.option in {word for each in own for word in each.opts}:
        raise extension.unusable([f"{report.option} is an option of benchrig"])
    return f"{report.option} FILE: {report.help}"


def _about_kind(extension: Extension) -> tuple[str, str]:
    from msgspec.structs import fields

    from benchrig.plan.step_kinds import checked_kind
    from benchrig.steps import Step

    kind = checked_kind(extension)
    common = {field.encode_name for field in fields(Step)}
    own = [field for field in fields(kind) if field.encode_name not in common]
    keys = [field.encode_name + ("" if field.required else "?") for field in own]
    return " ".join((kind.__doc__ or "").split()), ", ".join(keys)
