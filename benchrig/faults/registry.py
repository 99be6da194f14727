"""All faults of a device: by family, by name, two at once.

A family is a file with `faults(scene, limits) -> Iterator[Fault]`, and its line in GENERATORS. It may make more than there
is: what changes nothing, what the device lacks, and what no device file can hold is left out here.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import replace
from typing import TypeAlias

from benchrig.errors import UsageError
from benchrig.faults import (
    advertising,
    bench,
    commands,
    descriptors,
    exchanges,
    firmware,
    later,
    links,
    reads,
    security,
    streams,
    table,
    values,
    writes,
)
from benchrig.faults.fault import Family, Fault, Scene, together
from benchrig.faults.holding import misfits, parts_of
from benchrig.faults.limits import NONE, Limits
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit

Generator: TypeAlias = Callable[[Scene, Limits], Iterator[Fault]]

# In the order of the list; a family may have several files.
GENERATORS: tuple[tuple[Family, Generator], ...] = (
    ("value", values.faults),
    ("value", later.faults),
    ("table", table.faults),
    ("table", descriptors.faults),
    ("stream", streams.faults),
    ("write", writes.faults),
    ("exchange", reads.faults),
    ("exchange", exchanges.faults),
    ("exchange", commands.faults),
    ("security", security.faults),
    ("advertising", advertising.faults),
    ("link", links.faults),
    ("firmware", firmware.faults),
    ("bench", bench.faults),
)
FAMILIES: tuple[Family, ...] = tuple(dict.fromkeys(family for family, _ in GENERATORS))
_TRIES = 50  # for each pair


def faults_of(scene: Scene, *, families: Collection[str] = (), limits: Limits = NONE) -> list[Fault]:
    """Those of these families, of all without any; always in the same order, each with a name of its own."""
    made = [fault for family, generate in GENERATORS if not families or family in families
            for fault in generate(scene, limits)]  # fmt: skip
    sound = parts_of(scene.unit)
    return list(_apart(fault for fault in made if exists(fault, scene, sound)))


def exists(fault: Fault, scene: Scene, sound: frozenset[int] = frozenset()) -> bool:
    """Whether it makes another device, which a device file can hold. `sound`: what is known of the parts of the scene."""
    try:
        broken = fault.scene(scene)
    except Misfit:
        return False
    return broken != scene and next(misfits(broken.unit, sound), None) is None


def fault_named(scene: Scene, name: str, *, limits: Limits = NONE) -> Fault:
    """The one of this name; two names with ' + ' between them are both at once. Raises UsageError with the nearest."""
    known = {fault.name: fault for fault in faults_of(scene, limits=limits)}
    if name in known:
        return known[name]
    one, plus, other = name.partition(" + ")
    if plus and one in known and other in known:
        return together(known[one], known[other])
    raise UsageError(f"unknown fault '{name}' of '{scene.unit.name}'", advice=suggest(name, known))


def pairs(scene: Scene, count: int, seed: int, *, limits: Limits = NONE) -> list[Fault]:
    """So many pairs, drawn from the seed; fewer where there are no more. None is of one thing twice: one of the two
    could undo or hide the other."""
    known, chance = faults_of(scene, limits=limits), random.Random(seed)
    drawn: dict[str, Fault] = {}
    for _ in range(count * _TRIES if len(known) > 1 else 0):
        one, other = sorted(chance.sample(range(len(known)), 2))
        both = together(known[one], known[other])
        if len(drawn) < count and both.name not in drawn and _apply(known[one], known[other], scene):
            drawn[both.name] = both
    return list(drawn.values())


def _apply(one: Fault, other: Fault, scene: Scene) -> bool:
    """Whether the two are of different things, and each is still one when the other is there: another product in the
    fixture has nothing of what the unit had wrong."""
    if one.name.partition(": ")[0] == other.name.partition(": ")[0] or _contain(one.subject, other.subject):
        return False
    both, later = together(one, other), other.scene(scene)
    return exists(other, one.scene(scene)) and exists(both, scene) and both.scene(scene) != later


def _contain(one: str, other: str) -> bool:
    return bool(one and other) and (f"{one}/".startswith(f"{other}/") or f"{other}/".startswith(f"{one}/"))


def _apart(faults: Iterable[Fault]) -> Iterator[Fault]:
    """With other names for those that share one: the path of the attribute before it, then a number behind it."""
    found = list(faults)
    often = Counter(fault.name for fault in found)
    taken: Counter[str] = Counter()
    for fault in found:
        name = f"{fault.subject} {fault.name}".strip() if often[fault.name] > 1 else fault.name
        taken[name] += 1
        yield replace(fault, name=name if taken[name] == 1 else f"{name} ({taken[name]})")
