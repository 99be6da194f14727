"""What a typed or scanned line is: a unit, a word, a slot, a badge, a unit that checks the station, or nothing of these.

A reader types as a keyboard does, so that a wrong setting of it, or of the keyboard, shows in the text: each such habit is
refused in words of its own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from benchrig.station.station import Station
from benchrig.station.words import Said, word_in
from benchrig.text.escape import plain
from benchrig.values.pattern import captured

LONGEST = 512
# What a reader may add at the end of what it has read.
_SUFFIX = " \t\r\n"
# 'A symbology identifier is ], a letter for the kind of code, and one character' (AIM; from memory, no source).
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_NAMES = {
    0x1D: "GS",
    0x1E: "RS",
    0x04: "EOT",
    0x1B: "escape",
    0x09: "tab",
    0x0D: "carriage return",
    0x0A: "line feed",
    0x00: "NUL",
}
_PARTS = "print a label without parts, or set the reader to leave separators out"


@dataclass(frozen=True)
class Refusal:
    """`why` in words, and what to `do`; `text` is escaped."""

    text: str
    why: str
    do: str = ""


@dataclass(frozen=True)
class SaidWord:
    word: Said


@dataclass(frozen=True)
class AtSlot:
    """The label of a slot, or its name."""

    slot: str


@dataclass(frozen=True)
class Badge:
    person: str


@dataclass(frozen=True)
class Match:
    """A unit: its product and what the barcode says of it, an address in capitals with colons. `reference` is the name of a unit
    that checks the station, `typed` the text as it was read: `text` is what is shown and kept."""

    text: str
    product: str
    values: Mapping[str, str] = field(default_factory=dict)
    reference: str = ""
    address: str = ""
    typed: str = field(default="", repr=False, compare=False)

    @property
    def serial(self) -> str:
        return self.values.get("serial", "")

    @property
    def unit(self) -> str:
        """What tells this unit apart from others of the product."""
        return self.serial or self.address or self.text


Read: TypeAlias = Match | SaidWord | AtSlot | Badge | Refusal


def cleaned(typed: str) -> str | Refusal:
    """The text of a line as it was typed, without what a reader adds at its end."""
    text = typed.rstrip(_SUFFIX).lstrip(" ")
    if not text:
        return Refusal(plain(typed), "nothing was scanned: the line is empty", "scan the label again")
    if len(text) > LONGEST:
        why = f"the line has {len(text)} characters, and a label has at most {LONGEST}"
        return Refusal(plain(text, 40), why, "scan one label only")
    for place, character in enumerate(text, start=1):
        if (said := _unfit(character)) is not None:
            what, do = said
            return Refusal(plain(text), f"the label has {what} at character {place} of {len(text)}", do)
    return text


def _unfit(character: str) -> tuple[str, str] | None:
    """What a character is that no label of a line has, and what to do; None for any other."""
    code = ord(character)
    if unicodedata.category(character) == "Cc":
        name = f" ({_NAMES[code]})" if code in _NAMES else ""
        do = _PARTS if code in (0x1D, 0x1E, 0x04) else "set the reader to send no control characters"
        return f"the control character 0x{code:02X}{name}", do
    if unicodedata.east_asian_width(character) == "F":
        return f"the full-width character '{plain(character)}'", "switch the keyboard of this computer to plain letters"
    if not character.isprintable():
        return f"the invisible character U+{code:04X}", "print the label anew, or set the reader to plain text"
    return None


def read(station: Station, typed: str) -> Read:
    """What the line names at this station. Words and slots come before all patterns."""
    text = cleaned(typed)
    if isinstance(text, Refusal):
        return text
    if (word := word_in(text)) is not None:
        return SaidWord(word)
    for slot in station.slot_names:
        if text == slot or text == _label(station, slot):
            return AtSlot(slot)
    return _by_pattern(station, text)


def _label(station: Station, slot: str) -> str:
    return station.slots[slot].label.strip() if slot in station.slots else ""


def _by_pattern(station: Station, text: str) -> Read:
    found: list[Match | Badge] = [*_units(station, text)]
    if (person := badge(station, text)) is not None:
        found.append(Badge(person))
    if not found:
        return Refusal(plain(text), *_fits_nothing(station, text))
    if len(found) > 1:
        names = " and ".join(_called(each) for each in found)
        return Refusal(
            plain(text), f"the label fits {names}", "tell who keeps the station file: one label has one meaning"
        )
    only = found[0]
    return _whole(only) if isinstance(only, Match) else only


def badge(station: Station, text: str) -> str | None:
    """Who has this badge: what the group 'name' of the pattern has found, else the whole text. None for what is no badge."""
    groups = captured(station.people, text) if station.people is not None else None
    return None if groups is None else plain(groups.get("name") or text)


def _units(station: Station, text: str) -> Iterator[Match]:
    reference = next((name for name, each in station.references.items() if each.label.strip() == text), "")
    for name, product in station.products.items():
        values = captured(product.barcode, text)
        if values is not None:
            address = address_in(values.get("address", ""))
            written = {"address": address} if address else {}
            yield Match(plain(text, LONGEST), name, values | written, reference, address, text)


def address_in(text: str) -> str:
    """An address as it is written on a label, with colons, hyphens or nothing between its octets; '' for what is none."""
    digits = re.sub(r"[:-]", "", text)
    if not re.fullmatch(r"[0-9A-Fa-f]{12}", digits, re.ASCII):
        return ""
    return ":".join(digits[at : at + 2] for at in range(0, 12, 2)).upper()


def _whole(match: Match) -> Match | Refusal:
    """A label whose pattern has a place for serial number or address says it."""
    for name, found in (("serial", match.serial), ("address", match.address)):
        if name in match.values and not found:
            what = {"serial": "serial number", "address": "address"}[name]
            said = f"'{plain(match.values[name])}'" if match.values[name] else "nothing"
            why = f"expected the {what} in the label of a {match.product}, found {said}"
            return Refusal(match.text, why, "print the label anew")
    return match


def _called(found: Match | Badge) -> str:
    return f"the product '{plain(found.product)}'" if isinstance(found, Match) else "a badge"


# --- a text that fits nothing


def _fits_nothing(station: Station, text: str) -> tuple[str, str]:
    """Why, as far as it can be seen, and what to do."""
    if _SYMBOLOGY.match(text) and _fits(station, text[3:]):
        why = f"the label begins with '{text[:3]}', with which the reader tells the kind of code"
        return why, "set the reader to send no symbology identifier"
    if _fits(station, text.swapcase()) or _fits(station, text.upper()):
        return (
            "capitals and small letters are the wrong way round",
            "look at caps lock, and at how the reader is set, and scan again",
        )
    half, odd = divmod(len(text), 2)
    if not odd and text[:half] == text[half:] and _fits(station, text[:half]):
        return "the label was read twice, without Enter between", "set the reader to send Enter behind each label"
    return "no product of this station has such a label", "check that the unit belongs to this line, and scan its label"


def _fits(station: Station, text: str) -> bool:
    return badge(station, text) is not None or any(True for _ in _units(station, text))
