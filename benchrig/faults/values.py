"""Values that are packed, scaled or said wrongly."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from benchrig.faults import numbers, sources, texts
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.leaves import NUMBERS, Leaf, leaves
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import replaced
from benchrig.radio.virtual.words import Hex
from benchrig.values.numbers import BooleanFormat
from benchrig.values.structs import StructFormat
from benchrig.values.text import BytesFormat, TextFormat


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for whole, fields in leaves(scene.unit, limits):
        yield from _size(whole)
        for leaf in fields or [whole]:
            yield from _of_leaf(leaf)
        for leaf in fields[1:]:
            yield from leaf.distorted("moved by a byte", "is sent one byte too late.", how="moved by a byte")
        yield from _bits(whole)
        yield from _exchanged(whole, fields)


def _size(whole: Leaf) -> Iterator[Fault]:
    yield from whole.distorted("a byte short", "is sent without its last byte.", how="a byte short")
    yield from whole.distorted("a byte long", "is sent with a byte too many.", how="a byte long")
    yield from whole.distorted("empty", "is sent empty.", how="empty")


def _of_leaf(leaf: Leaf) -> Iterator[Fault]:
    yield from sources.faults(leaf)
    if isinstance(leaf.form, NUMBERS):
        yield from numbers.faults(leaf, leaf.form)
    elif isinstance(leaf.form, TextFormat):
        yield from texts.faults(leaf)
    elif isinstance(leaf.form, BooleanFormat):
        yield from leaf.distorted("inverted", "says no for yes, and yes for no.", inverted=0x01)
    else:
        yield from _octets(leaf)


def _octets(leaf: Leaf) -> Iterator[Fault]:
    """Of bytes without a meaning that is known here, and of what is no single number."""
    if isinstance(leaf.form, StructFormat):
        return
    yield from leaf.distorted("a wrong bit", "has one wrong bit in its first byte.", inverted=0x01)
    if size := len(leaf.octets):
        if size > 1:
            says = "has one wrong bit in its last byte."
            yield from leaf.distorted("a wrong last bit", says, inverted=0x01 << 8 * (size - 1))
            yield from leaf.distorted("swapped bytes", "is sent with its bytes in reverse order.", how="swapped bytes")
        yield from leaf.distorted("zeros", "is all zeros, as if nobody had ever set it.", octets=Hex(bytes(size)))
        erased = Hex(b"\xff" * size)
        yield from leaf.distorted("erased", "is what erased memory has: bytes of FF.", octets=erased)
    if isinstance(leaf.form, BytesFormat) and not size and leaf.is_constant and "read" in leaf.spec.properties:
        yield leaf.fault("not empty", "is not empty at the start.", replaced(value=None, raw=Hex(b"\x00")), "minor")


def _bits(whole: Leaf) -> Iterator[Fault]:
    for item in whole.form.items if isinstance(whole.form, StructFormat) else ():
        for part in item.parts:
            says = "is inverted." if part.mask.bit_count() == 1 else "has all its bits inverted."
            named = Leaf(whole.at, item.name, item.format, None, b"", varies=True)
            yield from named.distorted(f"{part.name} inverted", says, inverted=part.mask)


def _exchanged(whole: Leaf, fields: list[Leaf]) -> Iterator[Fault]:
    """Two neighbours of one size in each other's place, as the packing of a structure has them."""
    written = whole.spec.fields or []
    for index, (one, other) in enumerate(pairwise(fields)):
        same = [leaf.field for leaf in fields] == [field.name for field in written]
        if same and len(one.octets) == len(other.octets) and (one.varies or other.varies or one.octets != other.octets):
            order = [*written[:index], written[index + 1], written[index], *written[index + 2 :]]
            says = f"has {one.field} and {other.field} in each other's place."
            yield whole.fault(f"{one.field} and {other.field} exchanged", says, replaced(fields=order))
