"""A subscription for as long as a step listens."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING, cast

from benchrig.errors import BenchrigError, UsageError
from benchrig.steps.attribute import AttributeName
from benchrig.steps.bench import Bench, Target

if TYPE_CHECKING:
    from benchrig.radio.table import Characteristic

PROPERTIES = ("notify", "indicate")


def sender(bench: Bench, name: AttributeName) -> Target:
    """The characteristic of this name, which has to offer notifications or indications."""
    target = bench.target(name, PROPERTIES)
    if not hasattr(target.found.attribute, "properties"):
        raise UsageError(f"{name} is not a characteristic; only a characteristic sends values by itself")
    return target


@contextlib.asynccontextmanager
async def subscribed(bench: Bench, target: Target, hear: Callable[[bytes], None], doing: str) -> AsyncIterator[None]:
    """`hear` gets what the characteristic sends while the context is open. The subscription is ended on every way
    out; of two things that go wrong the first one is told."""
    characteristic = cast("Characteristic", target.found.attribute)
    await bench.subscribe(characteristic, hear, doing)
    try:
        yield
    except BaseException:
        with contextlib.suppress(BenchrigError):
            await bench.unsubscribe(characteristic, hear)
        raise
    await bench.unsubscribe(characteristic, hear)
