"""What writes, starts and the ends of links set off -> keys of a device file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from benchrig.desk.inspection import CharacteristicSeen
from benchrig.desk.paths import Place
from benchrig.errors import BenchrigError
from benchrig.source.problem import counted
from benchrig.twin.cases import Wording, added, cases_of, seconds
from benchrig.twin.reactions import NUMBER, Known, Occasion, Reactions
from benchrig.twin.table import Part
from benchrig.values.base import Format
from benchrig.values.text import TextFormat

_WRITES = {"write", "write without response", "signed write"}
_SHOWING = ("display", "yes/no", "keyboard and display")
# A line that is there as soon as the device starts.
_AT_ONCE = 0.002


class Conduct:
    """`initial` are the values at first."""

    def __init__(self, found: Reactions, words: Wording, initial: Known) -> None:
        self._found, self._words, self._initial = found, words, initial

    def writes(self, part: Part, place: Place, seen: CharacteristicSeen) -> None:
        occasions = [each for each in self._found.occasions if each.act.place == place]
        if not occasions:
            if _WRITES & {*seen.properties}:
                part.unseen.append(f"{self._words.name(place)}: what a write does (nothing was written)")
            return
        refused = {each.act.error for each in occasions}
        first = occasions[0]
        if len(refused) == 1 and first.act.error and _is_of_attribute(first.act.error):
            if not first.act.error.startswith("insufficient ") and _WRITES & {*seen.properties}:
                part.put(
                    "on_write", {"att_error": first.act.error}, f"{first.act.where}: refused, whatever was written"
                )
            return
        self._cases(part, place, occasions)

    def _cases(self, part: Part, place: Place, occasions: Sequence[Occasion]) -> None:
        form = self._words.form(place)
        told = [each for each in occasions if not each.act.error.startswith("insufficient ")]
        cases = [case for case in cases_of(told, self._words) if self._is_more(case.keys, place)]
        keys: dict[str, Any] = {}
        if any(each.kept is False for each in told) and not any(each.kept for each in told):
            keys["store"] = False
        if form is not None and any(not each.act.error and not _fits(form, each.act.data or b"") for each in told):
            keys["check"] = False
        if cases:
            keys["cases"] = [dict(case.keys) for case in cases]
            for index, case in enumerate(cases):
                part.comments["on_write", "cases", index] = case.says
            part.unseen.append(f"{self._words.name(place)}: what other writes do ({len(cases)} were seen)")
        if keys:
            part.put("on_write", keys)
        elif any(each.kept for each in told):
            part.unseen.append(f"{self._words.name(place)}: what it refuses ({counted(len(told), 'write')}, all kept)")
        if not any(each.kept for each in told) and not cases:
            part.unseen.append(f"{self._words.name(place)}: whether it keeps what is written")

    def _is_more(self, keys: dict[str, Any], place: Place) -> bool:
        """Whether a case says more than that the write was taken, or refused as its format has it."""
        if keys.keys() <= {"matches", "only_if"}:
            return False
        if keys.keys() == {"matches", "att_error"} and keys["att_error"] == "out of range":
            form = self._words.form(place)
            return form is None or isinstance(form, TextFormat) or _fits(form, bytes.fromhex(str(keys["matches"])))
        return True

    def state(self, part: Part, place: Place) -> None:
        if place in self._found.volatile:
            part.put("volatile", True, self._found.volatile[place])
        rise = self._rise(place)
        if rise:
            form, first = self._words.form(place), self._initial.get(place)
            if form is not None and first is not None:
                part.keys["start"] = int(form.decode(first)) - rise  # type: ignore[arg-type]

    def _rise(self, place: Place) -> int | None:
        """By how much each start adds to it."""
        told = self._found.restarted.get(place)
        form, first = self._words.form(place), self._initial.get(place)
        rise = None if told is None else added(told[0], told[1], form)
        # it has risen once before anybody read it
        return rise if rise and form is not None and first is not None and _fits_less(form, first, rise) else None

    def occasions(self, made: Part) -> None:
        starts: list[tuple[dict[str, Any], str]] = []
        for place, (_, after, where) in self._found.restarted.items():
            rise = self._rise(place)
            value = {"add": rise} if rise else self._words.value(place, after)
            if value is not None:
                starts.append(({"set": {self._words.name(place): value}}, where))
        for late, line, where in self._found.started_lines:
            keys: dict[str, Any] = {"delay": seconds(late)} if late > _AT_ONCE else {}
            starts.append((keys | {"print": line}, where))
        _actions(made, "on_start", starts)
        leaves = ((self._words.value(place, data), place, where) for place, (data, where) in self._found.left.items())
        _actions(
            made,
            "on_disconnect",
            [({"set": {self._words.name(place): value}}, where) for value, place, where in leaves if value is not None],
        )
        shown = [({"print": line}, where) for line, where in self._found.shown.items()]
        if made.keys.get("security", {}).get("capability") in _SHOWING:
            _actions(made, "on_display", shown)
            if not shown:
                made.unseen.append("where its passkey or number is to be read: the twin shows it nowhere")
            if NUMBER in self._found.shown:
                made.unseen.append("what it prints beside its passkey or number: a record hides the whole line")
        lines = [
            ({"matches": _literal(sent), "print": line}, where) for sent, (line, where) in self._found.console.items()
        ]
        _actions(made, "console", lines)
        if lines:
            made.unseen.append("what its console says to other lines")


def _is_of_attribute(error: str) -> bool:
    return error in ("write not permitted", "request not supported") or error.startswith("insufficient ")


def _fits_less(form: Format, first: bytes, rise: int) -> bool:
    number = form.decode(first)
    return isinstance(number, int) and number >= rise


def _fits(form: Any, data: bytes) -> bool:
    try:
        form.decode(data)
    except BenchrigError:
        return False
    return True


def _literal(text: str) -> str:
    return "".join(f"\\{one}" if one in r"\.^$*+?{}[]|()" else one for one in text)


def _actions(made: Part, key: str, actions: Iterable[tuple[dict[str, Any], str]]) -> None:
    listed = [*actions]
    if listed:
        made.keys[key] = [keys for keys, _ in listed]
        made.comments |= {(key, index): where for index, (_, where) in enumerate(listed)}
