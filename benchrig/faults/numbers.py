"""Numbers that are said wrongly: order of bytes, sign, scale, unit, a distance off, words in their place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.faults.fault import Fault, Weight
from benchrig.faults.leaves import Leaf, Number
from benchrig.faults.outside import distances
from benchrig.radio.virtual.sources import Clock, Counter
from benchrig.radio.virtual.words import Hex
from benchrig.values.numbers import NAN, IntegerFormat
from benchrig.values.quantity import number_text
from benchrig.values.spec import Exact
from benchrig.values.units import UNITS

# What people act on, or what keeps strangers out.
_GRAVE = re.compile(r"alarm|limit|threshold|lock|code|key|dose|rate of|alert|warning", re.IGNORECASE)
# What a unit is taken for.
_CONFUSED = {
    "°C": ("°F", "K"), "°F": ("°C",), "K": ("°C",), "V": ("mV",), "mV": ("V",), "A": ("mA",), "mA": ("A",),
    "s": ("ms", "min"), "ms": ("s",), "min": ("s",), "h": ("min",), "Pa": ("hPa",), "hPa": ("Pa",), "kPa": ("mmHg",),
    "mmHg": ("kPa",), "km/h": ("m/s", "mph"), "m/s": ("km/h",), "kg": ("g", "lb"), "g": ("kg",), "m": ("mm", "ft"),
    "mm": ("m",), "cm": ("in",), "km": ("m",), "bpm": ("Hz",), "rpm": ("Hz",), "l": ("ml",), "ml": ("l",), "W": ("mW",),
    "mW": ("W",), "Ah": ("mAh",), "mAh": ("Ah",),
}  # fmt: skip
_SCALES = (("scale x10", "ten times too large", Exact(10)), ("scale /10", "ten times too small", Exact("0.1")),
           ("scale x100", "a hundred times too large", Exact(100)))  # fmt: skip
_MOST_WORDS = 3


def weight_of(leaf: Leaf) -> Weight:
    return "grave" if _GRAVE.search(f"{leaf.at.called} {leaf.field}") else "serious"


def faults(leaf: Leaf, form: Number) -> Iterator[Fault]:
    weight = weight_of(leaf)
    if form.kind == "number":
        if form.size and form.size > 1:
            yield from leaf.distorted("swapped bytes", "is sent with its bytes exchanged.", weight, how="swapped bytes")
        yield from _factors(leaf, form, weight)
        yield from _units(leaf, form, weight)
        yield from _distances(leaf, form, weight)
    if not leaf.field and (number := leaf.number) is not None:
        text = Hex(number_text(number).encode())
        yield from leaf.distorted("as text", f"is sent as the text '{text.decode()}'.", octets=text)
    yield from _patterns(leaf, form, weight)


def _measures(leaf: Leaf, form: Number) -> bool:
    """Whether it measures something, and is no mere count."""
    return bool(form.unit) or not isinstance(form, IntegerFormat) or form.scale != 1


def _factors(leaf: Leaf, form: Number, weight: Weight) -> Iterator[Fault]:
    if not _measures(leaf, form):
        return
    if getattr(form, "signed", True):
        yield from leaf.distorted("wrong sign", "is sent with the wrong sign.", weight, times=Exact(-1))
    for kind, says, times in _SCALES:
        yield from leaf.distorted(kind, f"is sent {says}.", weight, times=times)


def _units(leaf: Leaf, form: Number, weight: Weight) -> Iterator[Fault]:
    for symbol in _CONFUSED.get(form.unit, ()):
        own, other = UNITS[form.unit], UNITS[symbol]
        times, plus = own.factor / other.factor, own.offset * own.factor / other.factor - other.offset
        if isinstance(form, IntegerFormat):  # of the number as it is sent
            plus = (times * form.offset + plus - form.offset) / form.scale
        keys: dict[str, Any] = {"times": Exact(times)} | ({"plus": Exact(plus)} if plus else {})
        yield from leaf.distorted(f"in {symbol}", f"is sent in {symbol} and not in {form.unit}.", weight, **keys)


def _distances(leaf: Leaf, form: Number, weight: Weight) -> Iterator[Fault]:
    """So far off that a limit must see it; by the limits of the plan, just outside."""
    if isinstance(leaf.pattern, (Counter, Clock)):
        return
    for kind, amount, plus in distances(leaf, form):
        far = f"{number_text(amount)} {form.unit}".strip()
        yield from leaf.distorted(f"too {kind}", f"is {far} too {kind}.", weight, plus=Exact(plus))


def _patterns(leaf: Leaf, form: Number, weight: Weight) -> Iterator[Fault]:
    """Octets that are there whatever happens."""
    words = _words(form)
    for kind, octets, says in (
        ("zero", bytes(form.size or 0), "is 0, as if nobody had ever measured or set it."),
        ("erased", b"\xff" * (form.size or 0), "is what erased memory has: bytes of FF."),
    ):
        if octets not in words.values():
            yield from leaf.distorted(kind, says, weight, octets=Hex(octets))
    for word, octets in list(words.items())[:_MOST_WORDS]:
        yield from leaf.distorted(f"always '{word}'", f"always says '{word}'.", weight, octets=Hex(octets))
    if isinstance(form, IntegerFormat) and form.only_words:
        for octets in _reserved(form):
            says = "has a reserved value, which means nothing."
            yield from leaf.distorted("reserved", says, weight, octets=Hex(octets))


def _words(form: Number) -> dict[str, bytes]:
    words = form.words.values() if isinstance(form, IntegerFormat) else [NAN]
    return {word: form.encode(word) for word in words}


def _reserved(form: IntegerFormat) -> Iterator[bytes]:
    """The first number behind the words that has none."""
    for raw in range(max(form.words) + 1, form.highest):
        try:
            octets = raw.to_bytes(form.size, form.order)
            form.decode(octets)
        except MalformedValue:
            yield octets
            return
        except OverflowError:
            return
