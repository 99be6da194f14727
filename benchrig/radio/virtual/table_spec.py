"""The services of a device file as a whole: what its characteristics do to each other."""

from __future__ import annotations

from collections.abc import Iterable

from benchrig.radio.virtual.behaviours import Under
from benchrig.radio.virtual.gatt_spec import UPDATES, CharacteristicSpec, ServiceSpec
from benchrig.radio.virtual.reactions import misfits_of
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit

HEADER = 3  # octets of an ATT notification before its value


def by_name(specs: list[ServiceSpec]) -> dict[str, CharacteristicSpec]:
    return {one.called: one for spec in specs for one in spec.characteristics}


def table_misfits(specs: list[ServiceSpec], mtu: int, key: str = "services", *, asks: bool) -> Iterable[Misfit]:
    """What is wrong between characteristics: names, effects, and values that no notification holds. `key` is where
    the services stand; `asks`: the device asks its user for something."""
    named = by_name(specs)
    seen: set[str] = set()
    for at, spec in enumerate(specs):
        for index, one in enumerate(spec.characteristics):
            path = (key, at, "characteristics", index)
            if one.called in seen:
                yield Misfit(f"the characteristic '{one.called}' appears twice", "give one of them a 'name'", path)
            seen.add(one.called)
            wrong = (*misfits_of(one, named, asks=asks), *_strangers(one, named))
            yield from (Misfit(m.message, m.advice, (*path, *m.path)) for m in wrong)
            if one.property_bits & UPDATES and one.longest() > mtu - HEADER:
                message = f"{one.longest()} bytes; a notification holds {mtu - HEADER} with an MTU of {mtu}"
                yield Misfit(message, "raise 'mtu' or shorten the value", (*path, "raw" if one.raw else "value"))


def _strangers(one: CharacteristicSpec, named: dict[str, CharacteristicSpec]) -> Iterable[Misfit]:
    """Names of `under` that nothing has."""
    for name in (each.under for each in one.on_notify.behaviours if isinstance(each, Under)):
        if name not in named:
            message = f"this device has no characteristic '{name}'"
            yield Misfit(message, suggest(name, named), ("on_notify", "under"))
