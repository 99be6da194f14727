"""Texts that are almost right."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchrig.errors import MalformedValue
from benchrig.faults.fault import Fault, Weight
from benchrig.faults.leaves import Leaf
from benchrig.faults.mutation import replaced
from benchrig.radio.virtual.words import Hex
from benchrig.source.shape import Misfit
from benchrig.values.catalogue import name_of

_LAST_NUMBER = re.compile(r"[0-9]+(?=[^0-9]*$)")
_LAST_NOT_0 = re.compile(r"0*[1-9][0-9]*(?=([^0-9]|0)*$)")
_REVISION = ("firmware revision string", "software revision string")
_VARIANT = ("model number string", "hardware revision string")
_SERIAL = "serial number string"


def faults(leaf: Leaf) -> Iterator[Fault]:
    yield from leaf.distorted("no text", "has bytes that are not text.", octets=Hex(b"\xff\xfe"))
    if not isinstance(text := leaf.value, str) or not leaf.is_constant:
        return
    seen: set[str] = {text}
    for kind, other, says, weight in [*_told(leaf, text), *_almost(text), *_by_limits(leaf, text)]:
        if other not in seen:
            seen.add(other)
            yield from _said(leaf, kind, other, says, weight)


def _said(leaf: Leaf, kind: str, text: str, says: str, weight: Weight) -> Iterator[Fault]:
    """From the start on; what is written later is right."""
    try:
        octets = Hex(leaf.form.encode(text) if leaf.form else text.encode())
    except MalformedValue:
        octets = Hex(text.encode())
    if not leaf.field and leaf.is_constant:
        yield leaf.fault(kind, says, replaced(value=None, raw=octets), weight)
    else:
        yield from leaf.distorted(kind, says, weight, octets=octets)


def _told(leaf: Leaf, text: str) -> Iterator[tuple[str, str, str, Weight]]:
    """By what the text is for."""
    what = name_of(leaf.spec.characteristic, "characteristic")
    if what == _SERIAL:
        yield "of a neighbour", counted(text, 1), f"is that of the next unit: {counted(text, 1)}.", "serious"
        blank = _LAST_NUMBER.sub(lambda number: "0" * len(number[0]), text)
        yield "never written", blank, f"was never written in the factory: {blank}.", "serious"
    elif what in _REVISION:
        yield "of an older build", older(text), f"is that of an older build: {older(text)}.", "serious"
        yield "of a newer build", counted(text, 1), f"is that of a newer build: {counted(text, 1)}.", "serious"
        yield "of a debug build", f"{text}-debug", f"is that of a build for developers: {text}-debug.", "serious"
    elif what in _VARIANT:
        yield "of a variant", varied(text), f"is that of another variant: {varied(text)}.", "serious"


def _almost(text: str) -> Iterator[tuple[str, str, str, Weight]]:
    yield "another text", varied(text), f"says '{varied(text)}'.", "serious"
    if text:
        yield "trailing NUL", f"{text}\0", "has a NUL behind it.", "minor"
        yield "trailing blank", f"{text} ", "has a blank behind it.", "minor"
        yield "wrong case", text.swapcase(), f"is in the wrong case: '{text.swapcase()}'.", "minor"


def _by_limits(leaf: Leaf, text: str) -> Iterator[tuple[str, str, str, Weight]]:
    """The nearest text that a limit of the plan refuses."""
    near = [varied(text), f"{text}x", f"x{text}", text[:-1], "?"]
    for limit in leaf.limits:
        try:
            passes = limit.bind("text").passes
        except Misfit:
            continue
        for other in [one for one in near if passes(text) and not passes(one)][:1]:
            yield "refused text", other, f"says '{other}', which the plan refuses.", "serious"


def counted(text: str, by: int) -> str:
    """With its last number so much more."""
    return _LAST_NUMBER.sub(lambda found: _counted(found[0], by), text)


def older(text: str) -> str:
    """With the last number that is not 0 one less."""
    return _LAST_NOT_0.sub(lambda found: _counted(found[0], -1), text)


def _counted(digits: str, by: int) -> str:
    """As long as before where it has zeros to fill it."""
    return f"{int(digits) + by:0{len(digits) if digits[0] == '0' else 1}d}"


def varied(text: str) -> str:
    """With another last letter or digit."""
    if not text:
        return "x"
    last = text[-1]
    if last.isdigit() and last.isascii():
        return counted(text, 1) if last != "9" else f"{text[:-1]}8"
    return text[:-1] + (chr(ord(last) + 1) if last.isascii() and last.isalpha() and last not in "zZ" else "A")
