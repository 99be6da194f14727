"""Which devices the plan picks: all of the kind, as long as the air around them leaves no doubt."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.draft.evidence import Evidence
from benchrig.errors import UsageError
from benchrig.plan.wording import name_pattern
from benchrig.radio.scan import Selection
from benchrig.source.problem import counted
from benchrig.text.escape import plain

_SEVERAL = "Keep one unit at a time within range, say which with 'benchrig run --device NAME', or add nearest: 6 dB to the selection"


@dataclass(frozen=True)
class Picked:
    """The plan's selection, where it comes from, and what the person must know of the devices around, in sentences."""

    selection: Selection
    reason: str
    warnings: tuple[str, ...] = ()


def pick(evidence: Evidence, chosen: Selection | None) -> Picked:
    """`chosen` is how the units were selected. UsageError when nothing is known of any unit."""
    wide, reason = _of_the_kind(evidence, chosen or Selection())
    if not evidence.met and not _says_something(wide):
        raise UsageError("nothing says how the unit is picked", advice="--device with its name or a pattern for it")
    if len(evidence.units) > 1 and _says_something(wide):
        return _for_several(evidence, Picked(wide, reason))
    if len(evidence.units) > 1:
        warning = "the units advertise nothing in common: the plan picks the first of them, by its address"
        return Picked(Selection(address=evidence.met[0].address), reason, (warning,))
    return _for_one(evidence, Picked(wide, reason)) if evidence.met else Picked(wide, reason)


def title(evidence: Evidence) -> str:
    """A name for the plan: that of the unit, or what the names of several have in common."""
    names = names_of(evidence)
    name = names[0] if names else ""
    if names and len(evidence.units) > 1:
        name = stem_of(names).strip(" -_#.:/") or name
    # the name of a plan is no place for references, so it cannot have a $ either
    return f"{plain(name, 60).replace('$', '') or 'A device'}, drafted"


def names_of(evidence: Evidence) -> list[str]:
    return list(dict.fromkeys(met.name for met in evidence.met if met.name))


def _of_the_kind(evidence: Evidence, chosen: Selection) -> tuple[Selection, str]:
    """What further units of the kind would answer too: a pattern for the name, services and company that all have."""
    pattern, reason = _pattern(evidence, chosen)
    heard = evidence.advertised
    first = heard[0] if heard else AdvertisingSeen()
    services = tuple(uuid for uuid in first.services if all(uuid in each.services for each in heard))
    companies = [int(c, 16) for c in first.manufacturer_data if all(c in each.manufacturer_data for each in heard)]
    company, data = (companies[0] if companies else None), b""
    if chosen.manufacturer in companies:
        company, data = chosen.manufacturer, chosen.manufacturer_data
    kind = Selection(
        pattern or None, services, company, data, rssi_min=chosen.rssi_min, nearest=chosen.nearest, key=chosen.key
    )
    return kind, f"{reason}what {counted(len(evidence.units), 'unit')} advertised"


def _pattern(evidence: Evidence, chosen: Selection) -> tuple[str, str]:
    """The pattern for names, '' for none, and what to say of it: a person who gave one knows more than was seen."""
    names = names_of(evidence)
    if chosen.name and (set("*?[") & set(chosen.name) or not names):
        return chosen.name, "the name as it was asked for, and "
    return (glob_of(names) if names and all(met.name for met in evidence.met) else ""), ""


def _says_something(selection: Selection) -> bool:
    return bool(selection.name or selection.services or selection.manufacturer is not None)


def _for_several(evidence: Evidence, wide: Picked) -> Picked:
    answering = evidence.air.selected(wide.selection)
    if len(answering) < 2 or wide.selection.chosen(answering) is not None:
        return wide
    several = f"{len(answering)} devices heard here match the selection, and a run that hears several of them ends as ambiguous"
    return replace(wide, warnings=(several, _SEVERAL))


def _for_one(evidence: Evidence, wide: Picked) -> Picked:
    """As wide as no other device that was heard is meant: the kind, else the name in full, last the address."""
    for each in _narrower(evidence, wide):
        answering = evidence.air.selected(each.selection)
        unit = each.selection.chosen(answering)
        if not answering or (unit is not None and unit.address == evidence.met[0].address):
            return each
    raise AssertionError("the address is that of the unit")


def _narrower(evidence: Evidence, wide: Picked) -> Iterator[Picked]:
    unit, others = evidence.met[0], len(evidence.air.selected(wide.selection)) - 1
    also = f"{counted(others, 'other device')} heard here would have matched"
    if _says_something(wide.selection):
        yield wide
    if unit.name and wide.selection.name and name_pattern(unit.name) != wide.selection.name:
        warning = f"the plan picks the name {unit.name} in full: {also} {wide.selection.name}"
        yield Picked(replace(wide.selection, name=name_pattern(unit.name)), wide.reason, (warning,))
    warning = f"the plan picks this unit by its address: {also} all that it advertises"
    if not _says_something(wide.selection):
        warning = "the plan picks this unit by its address, for it advertises nothing else that tells it from others"
    yield Picked(Selection(address=unit.address), wide.reason, (warning,))


def glob_of(names: Sequence[str]) -> str:
    """A pattern for the names of devices: what they begin with, and *; '' where they have nothing in common."""
    stem = stem_of(names)
    return name_pattern(stem) + ("" if {stem} == set(names) else "*") if stem else ""


def stem_of(names: Sequence[str]) -> str:
    """The common beginning of names, or of one name all before its last digits; '' for none."""
    if len(set(names)) == 1:
        match = re.fullmatch(r"(.*?[^0-9])[0-9]+", names[0], re.DOTALL)
        return match[1] if match else names[0]
    alike = takewhile(lambda column: len(set(column)) == 1, zip(*names, strict=False))
    common = "".join(column[0] for column in alike)
    return common.rstrip("0123456789") or common  # numbers that begin alike need not go on so
