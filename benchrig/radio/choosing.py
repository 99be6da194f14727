"""Which of the devices that were heard is meant, and what to say when none or several are."""

from __future__ import annotations

import fnmatch
from collections.abc import Sequence
from dataclasses import dataclass

from benchrig.errors import AmbiguousDevice, DeviceNotFound, NotConnectable, StationError
from benchrig.radio.scan import Ear, Selection, Sighting, lead
from benchrig.source.problem import printable

_SHOWN = 6
NO_LEVEL = "use a controller that measures the RSSI of advertising, or leave the level out"


@dataclass(frozen=True)
class Advice:
    """What to do where the selection stands, when `nobody` answers it (what is to be checked) or `several` do;
    `nearest` ends the latter where the selection does not have that yet."""

    nobody: str
    several: str
    nearest: str = ""


OF_PLAN = Advice(
    "device: select: fits it",
    "switch the others off, say which one with --device, or narrow device: select:",
    ", for example with nearest: 6 dB",
)
NARROWED = Advice("it fits device: select: and --device both", "switch the others off, or give --device an address")


def choose_unit(ear: Ear, selection: Selection, listened: float, advice: Advice = OF_PLAN) -> Sighting:
    """The one device that answers the selection. DeviceNotFound, AmbiguousDevice; StationError when the level that it
    selects by is not known."""
    candidates = ear.selected(selection)
    unit = selection.chosen(candidates)
    if unit is not None:
        return unit
    if candidates:
        close = "" if selection.nearest is None else f" ({_lead_text(candidates)})"
        raise AmbiguousDevice(
            f"ambiguous: {len(candidates)} devices match the selection: {labels(candidates)}{close}",
            advice=advice.several + (advice.nearest if selection.nearest is None else ""),
        )
    if without_level := [s for s in ear.selected(selection.at_any_level) if s.median_rssi is None]:
        raise StationError(f"{labels(without_level[:1])}: the radio reported no RSSI to select by", advice=NO_LEVEL)
    raise not_heard(ear, selection, listened, advice)


def _lead_text(candidates: Sequence[Sighting]) -> str:
    leads_by = lead(candidates)
    return "the level of one is not known" if leads_by is None else f"the nearest leads by {leads_by:g} dB only"


def not_heard(ear: Ear, selection: Selection, listened: float, advice: Advice, known: str = "") -> DeviceNotFound:
    """What to say when nothing that was heard is the device; `known` is its address, where it was heard before."""
    others = sorted(ear.heard.values(), key=lambda s: -s.strength)
    heard = f"others were: {labels(others)}" if others else "nothing else was"
    if known:
        return DeviceNotFound(
            f"the unit ({known}) was not heard in {listened:.3g} s ({heard})",
            advice="check that the unit is still powered and advertising: it was heard before",
        )
    return DeviceNotFound(
        f"the unit was not heard in {listened:.3g} s ({heard})",
        advice=in_other_letters(ear, selection)
        or _begun(others, selection)
        or _by_name_only(others, selection)
        or f"check that the unit is powered and advertising, and that {advice.nobody}",
    )


def in_other_letters(ear: Ear, selection: Selection) -> str:
    """A name that was heard and fits but for its capitals; '' when there is none."""
    for pattern in selection.names:
        for name in sorted({sighting.name for sighting in ear.heard.values()}):
            if fnmatch.fnmatchcase(name, pattern):
                break
            if fnmatch.fnmatchcase(name.lower(), pattern.lower()):
                return f"did you mean '{printable(name)}'? Capitals count"
    return ""


def _begun(others: Sequence[Sighting], selection: Selection) -> str:
    """A name that was heard and begins with what was written; '' when there is none."""
    for pattern in filter(None, selection.names):
        for other in others:
            if other.name != pattern and other.name.startswith(pattern):
                return f"write '{pattern}*' for names that begin with it: '{printable(other.name)}' was heard"
    return ""


def _by_name_only(others: Sequence[Sighting], selection: Selection) -> str:
    """A device that was heard and fits by its name, but not in full; '' when there is none."""
    for other in others:
        lacking = selection.lacking(other)
        if lacking and selection.name is not None and fnmatch.fnmatchcase(other.name, selection.name):
            return f"look at {labels([other])}: its name fits, but not its {' and '.join(lacking)}"
    return ""


def check_connectable(unit: Sighting) -> None:
    """See that the device takes connections, where the radio knows. NotConnectable."""
    if unit.takes_no_connections:
        raise NotConnectable(
            f"{printable(unit.name) or unit.address} does not take connections: what it advertises says so",
            advice="make it connectable (a button, or the mode of its firmware) and try again",
        )


def labels(sightings: list[Sighting]) -> str:
    return "; ".join(map(_label, sightings[:_SHOWN]))


def _label(sighting: Sighting) -> str:
    return f"{printable(sighting.name) or '(no name)'} {sighting.address} {sighting.level_text}"
