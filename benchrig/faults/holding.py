"""Whether a device file can hold a device: what its reader would find wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from benchrig.radio.virtual.behaviour import When
from benchrig.radio.virtual.block import Block
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.shape import Misfit


def misfits(device: DeviceSpec, sound: DeviceSpec | None = None) -> Iterator[Misfit]:
    """Of all its parts. What it shares with the `sound` one is not looked at again."""
    known = {id(part) for part in _parts(sound)} if sound else set()
    for part in _parts(device, known):
        yield from part.misfits() if hasattr(part, "misfits") else ()
        if isinstance(part, Block):
            yield from _two_answers(part)


def _parts(value: Any, known: set[int] | None = None) -> Iterator[msgspec.Struct]:
    if isinstance(value, list | tuple):
        for one in value:
            yield from _parts(one, known)
    if isinstance(value, msgspec.Struct) and not (known and id(value) in known):
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
