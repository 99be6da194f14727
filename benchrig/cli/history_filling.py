"""What the commands share that bring records into a history: their options, their work told as it goes, what it came to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.options import Decorator
from benchrig.cli.out import echo, print_json, tell
from benchrig.source.problem import counted
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.history.filling import Filled
    from benchrig.history.place import Place

RESULTS = Path("results")
# Of many folders so many are named.
_MOST = 20


def folders_argument(*, required: bool = False) -> Decorator:
    return click.argument("folders", nargs=-1, required=required, type=click.Path(path_type=Path), metavar="DIR…")


def place_for(option: str, folders: tuple[Path, ...]) -> Place:
    """The history that is meant: by itself that in the first of the folders, or in the results."""
    from benchrig.history.choosing import chosen_place
    from benchrig.history.place import FILE, place_of

    results = folders[0] if folders else RESULTS
    return chosen_place(option, None, results) or place_of(str(results / FILE))


def show(place: Place, filled: Filled, *, as_json: bool) -> None:
    if as_json:
        print_json(filled_data(place, filled))
        return
    added = filled.added
    for pair in added.copies:
        echo(f"copy: {plain(pair.folder, 500)} has the record of {plain(pair.known, 500)}")
    for pair in added.conflicts:
        tell(f"conflict: {pair.folder} has the run id of {pair.known}, and another record: it is left out")
    for problem in filled.problems[:_MOST]:
        tell(f"damaged: {problem}")
    if len(filled.problems) > _MOST:
        tell(f"damaged: {len(filled.problems) - _MOST} more")
    if filled.gone:
        tell(f"{counted(filled.gone, 'run')} of the history before: no record of them is below these folders")
    echo(f"{plain(place.shown)}: {_sentence(filled)}")


def _sentence(filled: Filled) -> str:
    added = filled.added
    found: dict[str, Sequence[object]] = {
        "known": added.known, "moved": added.moved, "completed": added.completed, "copy": added.copies,
        "in conflict": added.conflicts, "damaged": filled.problems, "still running": filled.running,
    }  # fmt: skip
    told = [counted(len(each), word, "copies" if word == "copy" else word) for word, each in found.items() if each]
    return ", ".join([f"{counted(len(added.new), 'run')} added", *told])


def filled_data(place: Place, filled: Filled) -> dict[str, Any]:
    added = {each.name: getattr(filled.added, each.name) for each in fields(filled.added)}
    pairs = {
        name: [{"folder": pair.folder, "known": pair.known} for pair in added[name]]
        for name in ("moved", "copies", "conflicts")
    }
    return {
        "history": place.shown,
        **added,
        **pairs,
        "running": filled.running,
        "damaged": filled.problems,
        "gone": filled.gone,
    }
