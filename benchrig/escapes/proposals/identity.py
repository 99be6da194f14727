"""What each unit has of its own, held to a value that the run is given: a label that is scanned, for example."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from benchrig.escapes.proposals.attributes import Attributes
from benchrig.escapes.proposals.candidate import Candidate, Key, Limits
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.writing import Reference, StepText
from benchrig.propose.value import IDENTITIES
from benchrig.source.writing import Quoted

_WHY = "a unit with what belongs to another one passes a pattern"
_NEEDS = "the values of each unit, for example from its label (--set)"


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    for subject in attributes.subjects:
        if subject.seen.uuid in IDENTITIES and subject.read and _printable(subject.read):
            step = StepText("read", subject.name, {"name": f"its own {subject.seen.name}"})
            yield _given(ground, subject.seen.name, subject.read.decode(), step)
    scan = next((each for each in ground.plan.steps if each.kind.verb == "scan" and each.id in ground.written), None)
    advertised = {"address": ground.unit.address, "name": _own_name(attributes)}
    for reading, value in advertised.items() if scan is not None and not scan.part else ():
        if value and scan is not None:
            name = _free(ground, f"unit {reading}")
            limits = [Limits(scan.id, ground.written[scan.id], {reading: {"equals": Reference(name)}})]
            yield Candidate(
                "identity",
                f"the unit's own {reading}",
                _WHY,
                limits=limits,
                keys=[_key(ground, name, value)],
                needs=_NEEDS,
            )


def _given(ground: Ground, called: str, value: str, step: StepText) -> Candidate:
    name = _free(ground, called)
    step.hold("value", {"equals": Reference(name)})
    return Candidate(
        "identity", f"the unit's own {called}", _WHY, [step], keys=[_key(ground, name, value)], needs=_NEEDS, early=True
    )


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
    return next((name for name in names if len(names) == 1 and re.search(r"\d{2}", name)), "")
