"""All that a device does at occasions, each with a name for people and the way to change it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from benchrig.errors import Cause
from benchrig.faults import parts
from benchrig.faults.fault import OF_DEVICE, Family, Fault, Weight, on_unit
from benchrig.faults.mutation import Change, Mutation, within
from benchrig.faults.parts import At
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.reaction_spec import WriteSpec

_OCCASIONS = {
    "on_start": ("start", "a start of the device"),
    "on_connect": ("new link", "the beginning of a link"),
    "on_disconnect": ("end of a link", "the end of a link"),
    "on_display": ("display", "a number that is shown"),
}

_LITERAL = re.compile(r"[\w ]+")  # of a pattern, before what varies


@dataclass(frozen=True)
class Doing:
    """`called` in names, `said` in sentences. `spec` is a DoingSpec. `put` makes a change of the device of a change of the
    doing; None takes it out of its list. `one`: the characteristic whose write sets it off."""

    called: str
    said: str
    spec: Any
    put: Callable[[Change], Change]
    one: At | None = None

    def fault(
        self,
        family: Family,
        kind: str,
        says: str,
        change: Change,
        weight: Weight = "serious",
        causes: frozenset[Cause] = OF_DEVICE,
    ) -> Fault:
        """`{it}` in the sentence is what sets it off."""
        name, says = f"{self.called}: {kind}", says.replace("{it}", self.said)
        broken = on_unit(Mutation(name, "", self.put(change)))
        return Fault(name, family, says, broken, weight, causes, self.one.path if self.one else "")

    @property
    def following(self) -> Iterator[Doing]:
        """What comes of it later."""
        for index, action in enumerate(getattr(self.spec, "then", [])):
            number = f" {index + 1}" if index else ""
            yield Doing(f"{self.called}, later{number}", self.said, action, self._inner("then", index), self.one)

    def _inner(self, field: str, index: int) -> Callable[[Change], Change]:
        return lambda change: self.put(within(field, _at(index, change)))


def doings(device: DeviceSpec) -> Iterator[Doing]:
    """Also what follows later."""
    for doing in _first(device):
        yield doing
        yield from doing.following


def commands(device: DeviceSpec) -> Iterator[Doing]:
    """What writes set off."""
    for one in parts.characteristics(device):
        yield from _commands(one)


def _first(device: DeviceSpec) -> Iterator[Doing]:
    yield from commands(device)
    for field, (called, said) in _OCCASIONS.items():
        for index, action in enumerate(getattr(device, field)):
            number = f" {index + 1}" if index else ""
            yield Doing(f"{called}{number}", said, action, _listed(field, index))
    for index, line in enumerate(device.console):
        label = _label(line)
        yield Doing(f"console {label}", f"the line {label} of the console", line, _listed("console", index))


def _commands(one: At) -> Iterator[Doing]:
    def put(change: Change) -> Change:
        return lambda device: Mutation("", one.path, within("on_write", change)).apply(device)

    if one.spec.on_write != WriteSpec():
        yield Doing(f"{one.called} write", f"a write to the {one.called}", one.spec.on_write, put, one)
    for index, case in enumerate(one.spec.on_write.cases):

        def put_case(change: Change, index: int = index) -> Change:
            return put(within("cases", _at(index, change)))

        label = _label(case)
        yield Doing(f"{one.called} {label}", f"the {one.called} {label}", case, put_case, one)


def _label(case: Any) -> str:
    """How it begins, and what else must be."""
    begins = getattr(case, "starts_with", None)
    literal = _LITERAL.match(case.matches or "")
    words = [begins.hex(" ").upper() if begins else f"{literal[0].strip()}" if literal else "anything else"]
    if case.only_if:
        words += ["if", *(f"{name} is {value}" for name, value in case.only_if.items())]
    return " ".join([*words, f"each {case.every} times"] if case.every > 1 else words)


def _listed(field: str, index: int) -> Callable[[Change], Change]:
    return lambda change: within(field, _at(index, change))


def _at(index: int, change: Change) -> Change:
    def changed(present: list[Any]) -> list[Any]:
        made = change(present[index])
        return [*present[:index], *([] if made is None else [made]), *present[index + 1 :]]

    return changed
