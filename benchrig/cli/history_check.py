"""`benchrig history check`: whether history and records say the same."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.history_filling import RESULTS, folders_argument
from benchrig.cli.options import history_option, json_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.source.problem import counted
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.history.checking import Checked

_MOST = 20
# What is said of each list, and what to do.
_WORDS = {
    "missing": "record without an entry: run benchrig history add",
    "lost": "entry without its record: put the folder back, or run benchrig history rebuild",
    "changed": "record that changed after it was added: find out who changed it; then run benchrig history rebuild",
    "conflicts": "two records with one run id",
    "damaged": "damaged record",
    "copies": "copy",
    "running": "still running",
    "notes": "note",
}


@click.command(short_help="Hold a history against the records.")
@folders_argument()
@history_option()
@json_option()
def check(folders: tuple[Path, ...], history: str, as_json: bool) -> None:
    """Hold every entry of the history against its record, and the records in DIR and below it against the entries: results, where
    none is named. Exit code 1: they do not say the same, or a record is damaged.

    \b
    Example:
      benchrig history check
      benchrig history check /mnt/line-1 --history lines.sqlite
    """
    with errors_for_people():
        from benchrig.history.checking import check as checked_with
        from benchrig.history.choosing import named_place
        from benchrig.history.opening import open_history

        below = folders or (RESULTS,)
        with open_history(named_place(history, None, below[0])) as opened:
            checked = checked_with(opened, below)
        with whatever_the_output_does():
            if as_json:
                print_json({"history": opened.place.shown, "whole": checked.is_whole, **asdict(checked)})
            else:
                _show(opened.place.shown, checked)
        sys.exit(0 if checked.is_whole else 1)


def _show(shown: str, checked: Checked) -> None:
    for name, words in _WORDS.items():
        _list(words, getattr(checked, name))
    elsewhere = (
        f"; {checked.elsewhere} not looked at: their folders are on other computers" if checked.elsewhere else ""
    )
    for words in _outside(checked.outside):
        echo(plain(words, 500))
    said = "entries and records say the same" if checked.is_whole else "entries and records differ"
    counts = f"{counted(checked.entries, 'run')} in the history, {counted(checked.records, 'record')} in the folders"
    echo(f"{plain(shown)}: {said}; {counts}{elsewhere}")


def _outside(folders: Sequence[str]) -> Iterator[str]:
    """Where the records are that nobody has read: by the folder around them."""
    around = Counter(str(PurePosixPath(each).parent) for each in folders)
    for folder, count in [*around.items()][:_MOST]:
        runs = counted(count, "run")
        yield f"outside the folders: {runs} in {folder}, with {'its record' if count == 1 else 'their records'}"
    if len(around) > _MOST:
        yield f"outside the folders: {len(around) - _MOST} more places"
    if around:
        yield "  only looked for; to hold them too, name these folders beside the others"


def _list(words: str, found: Sequence[str]) -> None:
    what, _, advice = words.partition(": ")
    for each in found[:_MOST]:
        echo(f"{what}: {plain(each, 500)}")
    if len(found) > _MOST:
        echo(f"{what}: {len(found) - _MOST} more")
    if found and advice:
        echo(f"  {advice}")
