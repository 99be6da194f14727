"""What may be asked of a radio, a unit and a link alike."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from contextlib import AbstractContextManager
from functools import wraps
from typing import Any, TypeAlias, TypeVar, cast

from benchrig.api.awaited import Awaited
from benchrig.api.done import Done
from benchrig.api.run import GrowingRun
from benchrig.values.quantity import Quantity

# A limit, or anything else of a plan, as data.
Data: TypeAlias = Mapping[str, Any]
# '250 ms', or a Quantity.
Time: TypeAlias = str | Quantity
M = TypeVar("M", bound=Callable[..., Coroutine[Any, Any, Any]])


def awaited(method: M) -> M:
    """A method that the run knows of from the moment that it is called: one that nobody awaits is a mistake."""
    verb = () if method.__name__ == "step" else (method.__name__,)

    @wraps(method)
    def called(self: Asked, /, *words: object, **keys: object) -> Awaited[Any]:
        return Awaited(method(self, *words, **keys), (*verb, *words[: 2 - len(verb)]), self._run.waiting)

    return cast(M, called)


class Asked:
    """Carries out steps, about one device or none."""

    def __init__(self, run: GrowingRun, device: str = "") -> None:
        self._run, self._device = run, device

    @awaited
    async def step(self, verb: str, subject: object = None, **keys: object) -> Done:
        """Do a step of any kind: the verb, what stands behind it in a plan, and its keys. What fails raises; what comes back has
        the readings."""
        return await self._run.carry_out(verb, subject, keys, self._device)

    @awaited
    async def wait(self, time: Time) -> None:
        """Let time pass; a link that is lost meanwhile ends it: LinkLost."""
        await self._run.carry_out("wait", time, {}, self._device)

    def tolerating(self) -> AbstractContextManager[None]:
        """What fails in this context raises as ever, and does not decide about the run."""
        return self._run.tolerating()
