"""What each unit has of its own, held to a value that the run is given: a label that is scanned, for example."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, TypeAlias

from benchrig.desk.findings.values import DEVICE_NAME
from benchrig.draft.evidence import HIDDEN
from benchrig.escapes.proposals.attributes import Attributes, example_of
from benchrig.escapes.proposals.candidate import SHOWS_ALL, Candidate, Key, Limits
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import Reference, StepText
from benchrig.propose.value import IDENTITIES
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.writing import Quoted

_WHY = "a unit with what belongs to another one passes a pattern"
_NEEDS = "the values of each unit, for example from its label (--set)"
# What a text has in it that is another one for each unit.
_NUMBER = re.compile(rb"\d{2}")
_Told: TypeAlias = Callable[[DeviceSpec], str]


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    for subject in attributes.subjects:
        if subject.seen.uuid in IDENTITIES and subject.read and _printable(subject.read) and subject.spec is not None:
            step = StepText("read", subject.name, {"name": f"its own {subject.seen.name}"})
            yield _given(ground, subject.seen.name, subject.read.decode(), step, _value_of(subject.spec.called))
    yield from _names(ground, attributes)
    yield from _advertised(ground, attributes)


def tells_unit(data: bytes) -> bool:
    """Whether it is a text with a number, as that of each unit is."""
    return _printable(data) and _NUMBER.search(data) is not None


def _names(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """The name that can be read of every device is the one that it advertises."""
    for each in (each for service in attributes.services if service.uuid in HIDDEN for each in service.characteristics):
        if each.uuid == DEVICE_NAME and each.content is not None and tells_unit(each.content.data):
            step = StepText("read", "device name", {"name": "its own device name"})
            made = _given(ground, "unit name", each.content.data.decode(), step, _name)
            yield replace(made, title="the unit's own device name", needs=f"{SHOWS_ALL}; {_NEEDS}")


def _advertised(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    scan = next((each for each in ground.plan.steps if each.kind.verb == "scan" and each.id in ground.written), None)
    advertised: dict[str, tuple[str | None, _Told]] = {
        "address": (ground.unit.address, lambda unit: unit.own_address),
        "name": (_own_name(attributes), _name),
    }
    for reading, (value, told) in advertised.items() if scan is not None and not scan.part else ():
        if value and scan is not None:
            name = _free(ground, f"unit {reading}")
            limits = [Limits(scan.id, ground.written[scan.id], {reading: {"equals": Reference(name)}})]
            keys = [_key(ground, name, value)]
            title = f"the unit's own {reading}"
            yield Candidate("identity", title, _WHY, limits=limits, keys=keys, needs=_NEEDS, given={name: told})


def _given(ground: Ground, called: str, value: str, step: StepText, told: _Told) -> Candidate:
    name = _free(ground, called)
    step.hold("value", {"equals": Reference(name)})
    title, keys = f"the unit's own {called}", [_key(ground, name, value)]
    return Candidate("identity", title, _WHY, [step], keys=keys, needs=_NEEDS, early=True, given={name: told})


def _value_of(called: str) -> _Told:
    def told(unit: DeviceSpec) -> str:
        found = (each for service in unit.services for each in service.characteristics if each.called == called)
        return example_of(next(found)).decode()

    return told


def _name(unit: DeviceSpec) -> str:
    return unit.advertising.name or unit.name


def _key(ground: Ground, name: str, value: str) -> Key:
    """A given value of the plan, with that of the sound device where the run is told none."""
    spec: dict[str, Any] = {"default": Quoted(value)}
    if "given" in ground.root.entries:
        return Key("", "", ("given",), name, spec)
    return Key("", "", (), "given", {name: spec})


def _free(ground: Ground, called: str) -> str:
    name = re.sub(r"\W+", "_", called.lower()).strip("_")
    while name in ground.plan.given or name in ground.plan.defined:
        name += "_too"
    return name


def _printable(data: bytes) -> bool:
    return data.isascii() and data.decode("ascii").isprintable()


def _own_name(attributes: Attributes) -> str:
    """The advertised name, where it has a number in it."""
    names = {each.name for each in attributes.evidence.advertised if each.name}
    return next((name for name in names if len(names) == 1 and _NUMBER.search(name.encode())), "")
