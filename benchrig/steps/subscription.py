"""What sends values by itself."""

from __future__ import annotations

from benchrig.errors import UsageError
from benchrig.steps.attribute import AttributeName
from benchrig.steps.bench import Bench, Target

PROPERTIES = ("notify", "indicate")


def sender(bench: Bench, name: AttributeName) -> Target:
    """The characteristic of this name, which has to offer notifications or indications."""
    target = bench.target(name, PROPERTIES)
    if not hasattr(target.found.attribute, "properties"):
        raise UsageError(f"{name} is not a characteristic; only a characteristic sends notifications")
    return target
