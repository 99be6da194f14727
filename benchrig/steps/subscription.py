"""What sends values by itself, and which of the two ways is asked for."""

from __future__ import annotations

from typing import Literal, TypeAlias

from benchrig.errors import UsageError
from benchrig.steps.attribute import AttributeName
from benchrig.steps.bench import Bench, Target

PROPERTIES = ("notify", "indicate")
# None: notifications where the characteristic offers them, else indications
Mode: TypeAlias = Literal["notification", "indication"]
# what a characteristic offers for it
NEEDS: dict[Mode | None, tuple[str, ...]] = {None: PROPERTIES, "notification": ("notify",), "indication": ("indicate",)}


def sender(bench: Bench, name: AttributeName, mode: Mode | None = None) -> Target:
    """The characteristic of this name, which has to offer notifications or indications, or the one of the two."""
    target = bench.target(name, NEEDS[mode])
    if not hasattr(target.found.attribute, "properties"):
        raise UsageError(f"{name} is not a characteristic; only a characteristic sends notifications")
    return target


def indicates(mode: Mode | None) -> bool | None:
    """Whether indications are asked for where both are offered; None without a wish."""
    return None if mode is None else mode == "indication"
