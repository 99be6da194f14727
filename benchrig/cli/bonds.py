"""`benchrig bonds`: the units that a station has keys for, without the keys."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig import terminal
from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import flag, json_option, path_option
from benchrig.cli.out import print_json, tell, whatever_the_output_does
from benchrig.errors import BenchrigError, OperatorError, UsageError
from benchrig.terminal import console
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchrig.radio.bond_store import BondStore
    from benchrig.radio.bonds import Bond

_HEADINGS = ("unit", "address", "radio", "method", "key", "since")


_station_option = path_option(
    "--station", help="Station file: the bonds are those of the station that it names. Default: this computer."
)


@click.group(invoke_without_command=True, short_help="Show the bonds of this station, or clear them.")
@_station_option
@json_option()
@click.pass_context
def bonds(context: click.Context, station: Path | None, as_json: bool) -> None:
    """Show the units that this station is bonded with: by which method, and how good the key is. Keys are never shown.

    \b
    Example:
      benchrig bonds
      benchrig bonds clear 'VFL-*'
    """
    with errors_for_people():
        context.obj = store = _store(station)
        if context.invoked_subcommand is None:
            with whatever_the_output_does():
                _show(store, as_json)


def _complete(context: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """Names and addresses of the units, for the shell."""
    path = context.params.get("station") or (context.parent.params.get("station") if context.parent else None)
    try:
        held = _store(path and Path(path)).all()
    except BenchrigError:
        return []
    return [word for bond in held for word in (bond.name, bond.address) if word and word.startswith(incomplete)]


@bonds.command(short_help="Forget the bonds with units.")
@click.argument("units", nargs=-1, metavar="UNIT…", shell_complete=_complete)
@flag("--all", "everything", help="Forget every bond of the station.")
@flag("--yes", help="Forget them without a question.")
@_station_option
@click.pass_obj
def clear(store: BondStore, units: tuple[str, ...], everything: bool, yes: bool, station: Path | None) -> None:
    """Forget the bonds with UNIT: an address, or a name (with * and ?). The unit keeps its own key: let it forget too, or
    pair anew.

    \b
    Example:
      benchrig bonds clear C0:12:34:56:78:9A
      benchrig bonds clear --all --yes
    """
    with errors_for_people():
        store = store if station is None else _store(station)
        if bool(units) == everything:
            raise UsageError("expected units, or --all", advice="for example: benchrig bonds clear C0:12:34:56:78:9A")
        held = store.all()
        meant = held if everything else _meant(held, units)
        _agreed(meant, yes)
        for bond in meant:
            store.forget(*bond.unit)
        tell(f"{_counted(meant)} forgotten" if meant else "no bonds to forget")


def _store(path: Path | None) -> BondStore:
    from benchrig.radio.bond_store import BondStore, store_path
    from benchrig.station.station import load_station

    name = load_station(path).station
    return BondStore(store_path(name, os.environ), name)


def _show(store: BondStore, as_json: bool) -> None:
    from benchrig.text.tables import print_table

    held = store.all()
    if as_json:
        print_json({"station": store.station, "store": str(store.path), "bonds": [bond.shown for bond in held]})
    elif held:
        print_table(console(), _HEADINGS, [(_cells(bond), "") for bond in held], whole=("since",))
    else:
        tell(f"station '{store.station}' has no bonds")


def _cells(bond: Bond) -> Sequence[str]:
    pairing = "secure connections" if bond.secure_connections else "legacy"
    trust = "authenticated" if bond.authenticated else "not authenticated"
    key = f"{bond.key_size} bytes, {pairing}, {trust}"
    address = f"{bond.address} ({bond.address_type})"
    return [plain(text) or "–" for text in (bond.name, address, bond.radio, bond.method, key, bond.at)]


def _meant(held: Sequence[Bond], units: Sequence[str]) -> list[Bond]:
    """The bonds with these units. UsageError for a unit without one."""
    from fnmatch import fnmatchcase

    from benchrig.source.problem import suggest

    meant: dict[tuple[str, str], Bond] = {}
    for unit in units:
        found = [bond for bond in held if unit.upper() == bond.address or fnmatchcase(bond.name, unit)]
        if not found:
            known = [*dict.fromkeys(word for bond in held for word in (bond.name, bond.address) if word)]
            advice = suggest(unit, known) if known else "benchrig bonds lists them"
            raise UsageError(f"this station has no bond with '{unit}'", advice=advice)
        meant |= {bond.unit: bond for bond in found}
    return [*meant.values()]


def _agreed(meant: Sequence[Bond], yes: bool) -> None:
    """The person's yes. OperatorError."""
    if yes or not meant:
        return
    if not terminal.attended():
        raise OperatorError(
            "nobody agreed (no terminal); no bond was forgotten", advice="run it at a terminal, or add --yes"
        )
    from benchrig.cli.operator import AtTerminal
    from benchrig.loop import in_loop

    named = ", ".join(plain(bond.name or bond.address) for bond in meant)
    if not in_loop(AtTerminal().confirm(f"forget {_counted(meant)}: {named}?"), None):
        raise OperatorError("no bond was forgotten")


def _counted(meant: Sequence[Bond]) -> str:
    from benchrig.source.problem import counted

    return counted(len(meant), "bond")
