"""What happened at a line, in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchrig.line import events
from benchrig.line.telling import TAKE_OUT
from benchrig.line.view import asked_of
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.line.view import LineView

_PURPOSES = {"unit": "", "golden": "golden unit", "known bad": "known-bad unit"}
_LONGEST = 500


class Narrator:
    """Tells events in their order: a test is named by its unit and its slot."""

    def __init__(self) -> None:
        self._units: dict[str, str] = {}

    def words(self, event: events.AnyLineEvent) -> str:
        """One line, of foreign text too, with the time of this place."""
        if isinstance(event, events.UnitBegan):
            self._units[event.key] = f"slot {event.slot}: {event.serial or event.unit or event.barcode}"
        told: Callable[[Narrator, Any], str] = _TOLD[type(event)]
        return f"{event.at.astimezone():%Y-%m-%d %H:%M:%S}  {plain(told(self, event), _LONGEST)}"

    def unit(self, key: str) -> str:
        return self._units.get(key, "a unit of before")


class Teller:
    """Tells events as they happen. As on the screen, the verdict in a slot that is in `held` is told when its unit is taken
    out, and one that is withheld never is."""

    def __init__(self, narrator: Narrator, held: Callable[[str], bool]) -> None:
        self._narrator, self._held = narrator, held
        self._slots = dict[str, str]()
        self._ended = dict[str, events.UnitEnded]()

    def lines(self, event: events.AnyLineEvent) -> list[str]:
        words = self._narrator.words
        match event:
            case events.UnitBegan():
                self._slots[event.key] = event.slot
            case events.UnitEnded() if self._held(self._slots.get(event.key, "")):
                self._ended[event.key] = event
                return [
                    f"{event.at.astimezone():%Y-%m-%d %H:%M:%S}  {self._narrator.unit(event.key)} is tested: {TAKE_OUT}"
                ]
            case events.Withheld():
                self._ended.pop(event.key, None)
            case events.Released() if event.key in self._ended:
                return [words(event), words(self._ended.pop(event.key))]
        return [words(event)]


def _shift(_: Narrator, event: events.ShiftBegan) -> str:
    rehearsal = ", REHEARSAL on simulated units" if event.simulated else ""
    return f"shift {event.shift} begins at {event.station}: {event.person}{rehearsal}"


def _began(told: Narrator, event: events.UnitBegan) -> str:
    purpose = _PURPOSES.get(event.purpose, event.purpose)
    more = [each for each in (event.product, purpose, event.reference) if each]
    return f"{told.unit(event.key)} is next ({', '.join(more)})" if more else f"{told.unit(event.key)} is next"


def _run(told: Narrator, event: events.RunBegan) -> str:
    proof = f"; proven: {event.proof}" if event.proof else ""
    return f"{told.unit(event.key)} is being tested{proof}"


def _ended(told: Narrator, event: events.UnitEnded) -> str:
    why = f": {event.message}" if event.message else ""
    folder = f"  [{event.folder}]" if event.folder else ""
    return f"{told.unit(event.key)} {event.word}{why}{folder}"


def _answered(event: events.Answered) -> str:
    about = f"slot {event.slot}: {event.unit}: " if event.slot else ""
    return f"{about}{event.person} answered '{event.question}': {event.answer or '(not kept)'}"


def _cut_off(told: Narrator, event: events.CutOff) -> str:
    return f"{told.unit(event.key)} was cut off, and counts as not tested{_after(event.message)}"


def _cleaned(told: Narrator, event: events.CleanedUp) -> str:
    how = "was cleaned up" if event.ok else "was not cleaned up"
    return f"{told.unit(event.key)} {how} ({event.person}){_after(event.message)}"


def _reference(_: Narrator, event: events.ReferenceChecked) -> str:
    how = "did what it must" if event.ok else "did not do what it must"
    return f"slot {event.slot}: {event.name} {how}{_after(event.why)}"


def _file_changed(_: Narrator, event: events.FileChanged) -> str:
    if event.taken:
        return f"the changed station file is used, acknowledged by {event.by}"
    by = f" (asked: {event.by})" if event.by else ""
    return f"the changed station file is not used{by}: {event.new[:12] or 'none'}, still {event.old[:12] or 'none'}"


def _told_station(told: Narrator, event: events.ToldStation) -> str:
    how = "was run" if event.ok else "failed"
    return f"{told.unit(event.key)}: the command after a unit {how}{_after(event.message)}"


def _after(text: str) -> str:
    return f": {text}" if text else ""


_TOLD: dict[type, Any] = {
    events.ShiftBegan: _shift,
    events.PersonCame: lambda _, event: f"{event.person} has the shift",
    events.ShiftEnded: lambda _, event: f"the shift ends{_after(event.why)}",
    events.CautionRead: lambda _, event: f"{event.person} acknowledged the caution{_after(event.text)}",
    events.Scanned: lambda _, event: f"read {event.text}" + (f" ({event.kind})" if event.kind else ""),
    events.Answered: lambda _, event: _answered(event),
    events.Refused: lambda _, event: f"refused {event.text}{_after(event.why)}",
    events.UnitBegan: _began,
    events.RunBegan: _run,
    events.UnitEnded: _ended,
    events.Released: lambda told, event: f"{told.unit(event.key)} left the slot",
    events.Withheld: lambda told, event: f"no verdict is given of {told.unit(event.key)}{_after(event.why)}",
    events.CutOff: _cut_off,
    events.CleanedUp: _cleaned,
    events.ReferenceChecked: _reference,
    events.LineStopped: lambda _, event: f"the line stopped: {event.why}",
    events.LineCleared: lambda _, event: f"{event.person} cleared the line{_after(event.why)}",
    events.FileChanged: _file_changed,
    events.ToldStation: _told_station,
    events.ClockBack: lambda _, event: f"the clock was set back from {event.before.astimezone():%Y-%m-%d %H:%M:%S}",
    events.TornLine: lambda _, event: f"line {event.line} was cut off, probably by a power cut",
}


def asked_words(view: LineView) -> str:
    """The open question as a line; '' without one."""
    if view.asked is None:
        return ""
    where = asked_of(view.asked)
    choice = f" ({' / '.join(view.asked.options)})" if view.asked.options else ""
    scan = f" – scan the label of {view.asked.unit}, then answer" if view.asked.scan else ""
    return plain(f"{where}: {view.asked.text}{choice}{scan}", _LONGEST)


def stopped_words(view: LineView) -> str:
    """Why the line is stopped, and what to do, as a line; '' while it is not."""
    return plain(f"stopped: {view.message}; {view.do}", _LONGEST) if view.state == "stopped" else ""


def summary(view: LineView) -> str:
    """What the shift came to."""
    from benchrig.source.problem import counted

    seen = view.counts
    share = "" if seen.first_pass is None else f", first pass {100 * seen.first_pass:.1f} %"
    rest = f", {seen.failed_first} failed, {seen.not_judged} not judged, {counted(seen.retests, 'retest')}"
    return f"{'REHEARSAL: ' if view.rehearsal else ''}{counted(seen.judged, 'unit')} judged{share}{rest}"
