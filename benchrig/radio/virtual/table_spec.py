"""The services of a device file as a whole: what its characteristics do to each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from benchrig.radio.virtual.gatt_spec import UPDATES, CharacteristicSpec, ServiceSpec, bounded, read_source
from benchrig.radio.virtual.sources import Source
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit

WRITTEN = "written"
HEADER = 3  # octets of an ATT notification before its value


@dataclass(frozen=True)
class Effect:
    """A value that a write puts into a characteristic."""

    characteristic: str
    source: Source | None  # None: the octets that were written
    notify: bool  # send it to subscribers too


def by_name(specs: list[ServiceSpec]) -> dict[str, CharacteristicSpec]:
    return {one.called: one for spec in specs for one in spec.characteristics}


def table_misfits(specs: list[ServiceSpec], mtu: int, key: str = "services") -> Iterable[Misfit]:
    """What is wrong between characteristics: names, effects, and values that no notification holds. `key` is where
    the services stand."""
    named = by_name(specs)
    seen: set[str] = set()
    for at, spec in enumerate(specs):
        for index, one in enumerate(spec.characteristics):
            path = (key, at, "characteristics", index)
            if one.called in seen:
                yield Misfit(f"the characteristic '{one.called}' appears twice", "give one of them a 'name'", path)
            seen.add(one.called)
            found: list[Misfit] = []
            list(effects_of(one, named, find=found))
            yield from (Misfit(m.message, m.advice, (*path, *m.path)) for m in found)
            if one.property_bits & UPDATES and one.longest() > mtu - HEADER:
                message = f"{one.longest()} bytes; a notification holds {mtu - HEADER} with an MTU of {mtu}"
                yield Misfit(message, "raise 'mtu' or shorten the value", (*path, "raw" if one.raw else "value"))


def effects_of(
    one: CharacteristicSpec, named: dict[str, CharacteristicSpec], find: list[Misfit] | None = None
) -> Iterable[Effect]:
    """The effects of a write. What is wrong goes into `find`, or is raised when that is None."""
    for key, values in (("set", one.on_write.set), ("notify", one.on_write.notify)):
        for name, value in values.items():
            try:
                yield _effect(named, name, value, notify=key == "notify")
            except Misfit as misfit:
                located = Misfit(misfit.message, misfit.advice, ("on_write", key, name, *misfit.path))
                if find is None:
                    raise located from misfit
                find.append(located)


def _effect(named: dict[str, CharacteristicSpec], name: str, value: Any, *, notify: bool) -> Effect:
    if name not in named:
        raise Misfit(f"this device has no characteristic '{name}'", suggest(name, named))
    if notify and not named[name].property_bits & UPDATES:
        raise Misfit(f"'{name}' has neither notify nor indicate among its properties")
    return Effect(name, None if value == WRITTEN else bounded(read_source(value, named[name].format)), notify)
