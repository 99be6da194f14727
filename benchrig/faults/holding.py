"""Whether a device file can hold a device: what its reader would find wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from benchrig.radio.virtual.behaviour import When
from benchrig.radio.virtual.block import Block
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.shape import Misfit


def misfits(device: DeviceSpec, sound: frozenset[int] = frozenset()) -> Iterator[Misfit]:
    """Of all its parts. Those of a `sound` device (`parts_of`) are not looked at again."""
    for part in _parts(device, sound):
        yield from part.misfits() if hasattr(part, "misfits") else ()
        if isinstance(part, Block):
            yield from _two_answers(part)


def parts_of(device: DeviceSpec) -> frozenset[int]:
    """By which a part is known again, as long as the device is kept."""
    return frozenset(id(part) for part in _parts(device, frozenset()))


def _parts(value: Any, known: frozenset[int]) -> Iterator[msgspec.Struct]:
    if isinstance(value, list | tuple):
        for one in value:
            yield from _parts(one, known)
    if isinstance(value, msgspec.Struct) and id(value) not in known:
        yield value
        for name in value.__struct_fields__:
            yield from _parts(getattr(value, name), known)


def _two_answers(block: Block) -> Iterator[Misfit]:
    """A key of each kind stands there once for each time, and one alone takes the place of the answer."""
    kinds = [type(one) for one in block.behaviours if one.when == When()]
    if len(set(kinds)) < len(kinds):
        yield Misfit("a behaviour that appears twice")
    if sum(kind.is_answer for kind in kinds) > 1:
        yield Misfit("two answers to one request")
