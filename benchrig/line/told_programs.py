"""The programs of a station that are told of a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from benchrig.loop import outside
from benchrig.station.told import Told
from benchrig.steps.program import Program
from benchrig.text.escape import plain


@dataclass(frozen=True)
class ToldOne:
    """What became of it: what it was started as, and why it did not take the verdict; '' where it did."""

    words: tuple[str, ...]
    trouble: str = ""


async def tell(told: Told, values: Mapping[str, str], folder: Path) -> ToldOne:
    """Start the program with the values of a unit in their places, in this folder. Never raises for what it does."""
    words = told.words(values)
    with outside():
        return ToldOne(words, await _trouble(words, folder, told.within.seconds))


async def _trouble(words: tuple[str, ...], folder: Path, within: float) -> str:
    try:
        program = Program(words, folder)
    except (OSError, ValueError) as error:
        return f"{plain(words[0])} cannot be started: {getattr(error, 'strerror', None) or error}"
    try:
        code = await program.ended(within)
        await program.silent()
    finally:
        await program.end()
    if code is None:
        return f"{plain(words[0])} ran longer than {within:.3g} s"
    said = plain(program.texts[1][-300:])
    return f"{plain(words[0])} ended with exit code {code}{f': {said}' if said else ''}" if code else ""
