"""What may be asked of a radio, a unit and a link alike."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from typing import Any, TypeAlias

from benchrig.api.done import Done
from benchrig.api.run import GrowingRun
from benchrig.values.quantity import Quantity

# A limit, or anything else of a plan, as data.
Data: TypeAlias = Mapping[str, Any]
# '250 ms', or a Quantity.
Time: TypeAlias = str | Quantity


class Asked:
    """Carries out steps, about one device or none."""

    def __init__(self, run: GrowingRun, device: str = "") -> None:
        self._run, self._device = run, device

    async def step(self, verb: str, subject: object = None, **keys: object) -> Done:
        """Do a step of any kind: the verb, what stands behind it in a plan, and its keys. What fails raises; what comes back has
        the readings."""
        return await self._run.carry_out(verb, subject, keys, self._device)

    async def wait(self, time: Time) -> None:
        """Let time pass; a link that is lost meanwhile ends it: LinkLost."""
        await self._run.carry_out("wait", time, {}, self._device)

    def tolerating(self) -> AbstractContextManager[None]:
        """What fails in this context raises as ever, and does not decide about the run."""
        return self._run.tolerating()
