"""One fault: what a product person calls it, whom it is to be put on, and the scene that it makes of a sound one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

import msgspec

from benchrig.errors import Cause
from benchrig.faults.mutation import Mutation
from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual.faults import Faults

# Where a unit, or the bench, is at fault.
Family: TypeAlias = Literal[
    "value", "table", "stream", "write", "exchange", "security", "advertising", "link", "firmware", "bench"
]
# How much it matters that a unit with it is shipped: it harms or lets strangers in; it does not do what was promised; it is
# a flaw that few will meet.
Weight: TypeAlias = Literal["grave", "serious", "minor"]
WEIGHTS: tuple[Weight, ...] = ("grave", "serious", "minor")
OF_DEVICE: frozenset[Cause] = frozenset({"device", "limit"})
# Of a device that ends its link, or does not answer on it.
OF_LINK: frozenset[Cause] = OF_DEVICE | {"link"}


@dataclass(frozen=True)
class Scene:
    """What a run takes place in. `faults` are made anew for each run; each of `befalls` is given the radio when it is
    open, and may change it or what will happen to it. How units differ is nothing that one of them has."""

    devices: tuple[Simulated, ...]
    air: str | None = None
    faults: Callable[[], Faults] | None = None
    befalls: tuple[Callable[[Radio], None], ...] = ()

    def __post_init__(self) -> None:
        alone = tuple(
            msgspec.structs.replace(each, spread=None) if isinstance(each, DeviceSpec) and each.spread else each
            for each in self.devices
        )
        object.__setattr__(self, "devices", alone)

    @property
    def unit(self) -> DeviceSpec:
        """The device under test: the first that can be connected to."""
        return next(each for each in self.devices if isinstance(each, DeviceSpec))

    def with_unit(self, device: DeviceSpec) -> Scene:
        """The same with another device in its place."""
        sound = self.unit
        return replace(self, devices=tuple(device if each is sound else each for each in self.devices))


Change: TypeAlias = Callable[[Scene], Scene]


@dataclass(frozen=True)
class Fault:
    """One way of being broken. `name` is all that is needed to have it again: among the faults of one device it is the
    only one of that name. `causes` are those that a run may rightly name for it; `subject` is the path of the attribute
    (mutation.py), '' for the device as a whole."""

    name: str
    family: Family
    says: str  # one sentence, for people who know the product and not the radio
    change: Change = field(repr=False)
    weight: Weight = "serious"
    causes: frozenset[Cause] = OF_DEVICE
    subject: str = ""

    def scene(self, sound: Scene) -> Scene:
        """The broken scene. Raises Misfit where the device has nothing that could break so."""
        return self.change(sound)


def on_unit(mutation: Mutation) -> Change:
    """The change of the device under test."""
    return lambda scene: scene.with_unit(mutation.apply(scene.unit))


def after(first: Callable[[DeviceSpec], DeviceSpec], fault: Fault) -> Fault:
    """The same fault of a device that has been changed before: so that it still makes sense."""
    return replace(fault, change=lambda scene: fault.scene(scene.with_unit(first(scene.unit))))


def together(one: Fault, other: Fault) -> Fault:
    """Both at once. It is one of the bench, which a plan may pass, where both are."""
    return Fault(
        name=f"{one.name} + {other.name}",
        family=other.family if one.family == "bench" else one.family,
        says=f"{one.says} {other.says}",
        change=lambda scene: other.scene(one.scene(scene)),
        weight=min(one.weight, other.weight, key=WEIGHTS.index),
        causes=one.causes | other.causes,
        subject=one.subject,
    )
