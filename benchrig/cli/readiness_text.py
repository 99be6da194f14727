"""The look at a station, in the terminal: a line for each check, as it is made."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from benchrig.readiness.checks import Check
from benchrig.text.escape import plain
from benchrig.text.tables import print_line

if TYPE_CHECKING:
    from rich.console import Console

    from benchrig.readiness.checks import Attached, Station

_SENTENCE = 600
_STYLES = {"yes": "green", "no": "yellow", "unknown": "dim"}
_BLOCKS = "bold red"
_STATE, _CHECK = 9, 19


class ReadinessPage:
    """Prints words of a survey in the order in which they come."""

    def __init__(self, console: Console) -> None:
        self._line = partial(print_line, console)
        self._under = ""

    def show(self, word: Check | Attached) -> None:
        if isinstance(word, Check):
            self._check(word)
        else:
            self._attached(word)
        if word.advice:
            self._line((f"  {'':<{_STATE}}", ""), (plain(word.advice, _SENTENCE), "dim"))

    def _check(self, check: Check) -> None:
        self._title(check.radio)
        self._line(
            (f"  {check.state:<{_STATE}}", _BLOCKS if check.blocks else _STYLES[check.state]),
            (f"{plain(check.check):<{_CHECK}} {plain(check.found, _SENTENCE)}", ""),
        )

    def _attached(self, found: Attached) -> None:
        self._title("attached, for --radio")
        refused = "  this user may not open it" if found.usable is False else ""
        self._line((f"  {plain(found.radio)}", ""), (f"  {plain(found.what, _SENTENCE)}", "dim"), (refused, "yellow"))

    def end(self, station: Station, versions: Mapping[str, str]) -> None:
        """What it comes to."""
        self._line(("versions", "bold"), ("  " + ", ".join(f"{name} {plain(text)}" for name, text in versions.items()), ""))  # fmt: skip
        if station.ready:
            self._line(("ready", "bold green"), (f"  this station can test over {', '.join(station.ready)}", ""))
            return
        why = next((check for check in station.checks if check.blocks), None)
        self._line(("not ready", _BLOCKS), (f"  {plain(why.found, _SENTENCE) if why else 'no radio was found'}", ""))

    def _title(self, title: str) -> None:
        if title != self._under:
            self._line((plain(title), "bold"))
            self._under = title
