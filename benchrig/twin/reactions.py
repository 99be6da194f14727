"""Stories of runs -> what followed each write, each start and each end of a link.

A value that differs when it is read next is put
down to the last thing that happened before; when it changed in between is a guess.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from benchrig.desk.paths import Place
from benchrig.radio.virtual.makers import literal
from benchrig.record.secrets import MASK
from benchrig.twin.story import Act, Story

Known = Mapping[Place, bytes]
# A number of a pairing, which the record of a run has left out
_PASSKEY = re.compile(rf"(?<!\d)\d{{6}}(?!\d)|{re.escape(MASK)}")
# What a twin prints in its place
NUMBER = "{number}"
_STARTS = ("restart", "power")


@dataclass
class Change:
    """A value that followed, or several, each so many seconds after it was set off. A guess where other writes came between
    the value before and this one."""

    place: Place
    seen: list[tuple[float, bytes]] = field(default_factory=list)
    is_guess: bool = False


@dataclass
class Occasion:
    """One write with all that followed until the next thing happened. `before` are the values that were known."""

    act: Act
    before: dict[Place, bytes]
    changes: dict[Place, Change] = field(default_factory=dict)
    lines: list[tuple[float, str]] = field(default_factory=list)
    restart: Act | None = None
    silent: bool = False
    forgets: bool = False
    kept: bool | None = None

    @property
    def outcome(self) -> tuple[Any, ...]:
        """What tells two of the same bytes apart."""
        return self.act.error, tuple((each.place, each.data) for each in self.act.answers)


@dataclass
class Reactions:
    """All that was seen of them."""

    occasions: list[Occasion] = field(default_factory=list)
    # after a restart, and after the end of a link: values with their sources
    restarted: dict[Place, tuple[bytes, bytes, str]] = field(default_factory=dict)
    left: dict[Place, tuple[bytes, str]] = field(default_factory=dict)
    volatile: dict[Place, str] = field(default_factory=dict)
    started_lines: list[tuple[float, str, str]] = field(default_factory=list)
    console: dict[str, tuple[str, str]] = field(default_factory=dict)
    shown: dict[str, str] = field(default_factory=dict)
    again_after: list[float] = field(default_factory=list)


def reactions_of(stories: Sequence[Story], initial: Known, moves: Callable[[Place], bool]) -> Reactions:
    """`initial` are the values that were there at first; those that move by themselves tell nothing."""
    found = Reactions()
    for story in stories:
        _Following(found, dict(initial), moves).run(story)
    _foresee(found, stories, initial)
    return found


def _foresee(found: Reactions, stories: Sequence[Story], initial: Known) -> None:
    """What was there before each write, as far as other runs show it."""
    occasions = {id(each.act): each for each in found.occasions}
    effects: dict[tuple[Any, ...], list[Change]] = {}
    for each in found.occasions:
        effects.setdefault((each.act.place, each.act.data, *each.outcome), []).extend(each.changes.values())
    for story in stories:
        known, due = dict(initial), list[tuple[float, Place, bytes]]()
        for act in story.acts:
            known |= {place: data for at, place, data in sorted(due, key=lambda one: one[0]) if at <= act.at}
            due = [one for one in due if one[0] > act.at]
            if act.what == "disconnect":
                known |= {place: data for place, (data, _) in found.left.items()}
            elif act.what == "read" and act.place is not None and act.data is not None:
                known[act.place] = act.data
            elif act.what == "write":
                occasion = occasions[id(act)]
                occasion.before = dict(known)
                changes = effects[act.place, act.data, *occasion.outcome]
                due += [(act.at + at, change.place, data) for change in changes for at, data in change.seen]


class _Following:
    """One story, act by act."""

    def __init__(self, found: Reactions, known: dict[Place, bytes], moves: Callable[[Place], bool]) -> None:
        self._found, self._first, self._known, self._moves = found, dict(known), known, moves
        # what happened last that may change a value, and the last write
        self._cause: Occasion | Act | None = None
        self._written: Occasion | None = None
        # the writes so far, and how many there were when a value was last known
        self._count = 0
        self._counted: dict[Place, int] = {}
        # what was written and not read since, and by what
        self._assumed: dict[Place, Occasion] = {}

    def run(self, story: Story) -> None:
        for act in story.acts:
            follow = getattr(self, f"_{act.what}", None)
            if follow is not None:
                follow(act)

    def _pair(self, act: Act) -> None:
        if act.asked.get("unpair") and act.found.get("old_key") == "no key" and self._written is not None:
            self._written.forgets = True

    def _write(self, act: Act) -> None:
        self._written = Occasion(act, dict(self._known))
        self._found.occasions.append(self._written)
        if not act.error:
            self._cause = self._written
            self._count += 1
            if act.place is not None:
                self._assumed[act.place] = self._written

    def _disconnect(self, act: Act) -> None:
        self._cause = act
        if act.away is not None:
            self._found.again_after.append(act.away)

    def _restart(self, act: Act) -> None:
        if self._written is not None:
            self._written.restart = act
        self._cause = act

    def _power(self, act: Act) -> None:
        self._cause = act

    def _silence(self, act: Act) -> None:
        if self._written is not None and self._written.act.lost_after is not None:
            self._written.silent = True

    def _line(self, act: Act) -> None:
        line = literal(act.line)
        if act.sent is not None:
            self._found.console.setdefault(act.sent, (line, act.where))
        elif _PASSKEY.search(line):
            self._found.shown.setdefault(_PASSKEY.sub(NUMBER, line), act.where)
        elif isinstance(self._cause, Occasion):
            self._cause.lines.append((max(0.0, act.at - self._cause.act.at), line))
        elif self._cause is not None and self._cause.what in _STARTS:
            self._found.started_lines.append((act.at - self._cause.at, line, act.where))

    def _read(self, act: Act) -> None:
        if act.place is None or act.data is None or self._moves(act.place):
            return
        before = self._known.get(act.place)
        self._known[act.place] = act.data
        written = self._assumed.pop(act.place, None)
        if written is not None and written is not self._cause:
            self._after_written(written, act, act.place, before)
            return
        if isinstance(self._cause, Occasion):
            self._after_write(self._cause, act, act.place, before)
        elif self._cause is not None and before is not None:
            self._after_pause(self._cause, act, act.place, before)
        self._first.setdefault(act.place, act.data)
        self._counted[act.place] = self._count

    def _after_written(self, written: Occasion, act: Act, place: Place, before: bytes | None) -> None:
        """Something else has happened between a write and the read of the same attribute."""
        if act.data == written.act.data:
            written.kept = True
        elif act.data != before:
            return
        elif isinstance(self._cause, Act) and self._cause.what in _STARTS:
            self._found.volatile.setdefault(place, f"{act.where}; or the write before was not kept (a guess)")
        else:
            written.kept = False

    def _after_write(self, cause: Occasion, act: Act, place: Place, before: bytes | None) -> None:
        assert act.data is not None
        if place == cause.act.place and act.data == cause.act.data:
            cause.kept = True
            return
        if place == cause.act.place and act.data == before:
            cause.kept = False
        change = cause.changes.get(place)
        if change is None:
            if before is None or before == act.data:
                return
            change = cause.changes[place] = Change(place, is_guess=self._count - self._counted.get(place, 0) > 1)
            if act.since is not None:
                change.seen.append((0.0, before))
        if not change.seen or change.seen[-1][1] != act.data:
            change.seen.append((max(0.0, act.at - cause.act.at) if change.seen else 0.0, act.data))

    def _after_pause(self, cause: Act, act: Act, place: Place, before: bytes) -> None:
        assert act.data is not None
        if before == act.data:
            return
        if cause.what in _STARTS and act.data == self._first.get(place):
            self._found.volatile.setdefault(place, f"{act.where}: as it was at first, after a restart")
        elif cause.what in _STARTS:
            self._found.restarted.setdefault(place, (before, act.data, act.where))
        else:
            self._found.left.setdefault(place, (act.data, act.where))
