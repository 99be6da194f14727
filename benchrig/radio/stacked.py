"""A radio on the bench's own stack, whose controller may be lost while it is at work."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchrig.errors import BenchrigError, StationError
from benchrig.radio.bonds import MemoryBonds
from benchrig.radio.radio import Radio

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.scan import Report


@dataclass
class StackRadio(Radio):
    stack: HostStack | None = None

    @property
    def advice(self) -> str:
        """What to do about a lost controller."""
        return "plug the adapter in again"

    async def close(self) -> None:
        """Bonds that last no longer than a run go with that run, also where the radio goes on. InternalError when the stack
        has failed meanwhile: nobody knows whose packet that was."""
        await super().close()
        if self.is_lent and isinstance(self.bonds, MemoryBonds):
            for bond in filter(self.is_own, self.bonds.all()):
                self.bonds.forget(*bond.unit)
        if self.is_lent and self.stack is not None and (broken := self.stack.broken) is not None:
            raise broken

    async def is_there(self) -> bool:
        return self.stack is None or not self.stack.lost

    async def fault(self) -> BenchrigError | None:
        broken = self.stack.broken if self.stack is not None else None
        return broken if broken is not None or await self.is_there() else self._lost()

    async def trouble(self) -> BenchrigError | None:
        """The controller, when it is lost: what it did not carry proves nothing against a unit."""
        if self.stack is None or await self.is_there():
            return await super().trouble()
        return self._lost()

    def _lost(self) -> StationError:
        why = self.stack.lost if self.stack is not None else ""
        return StationError(f"{self.name}: {why}", advice=self.advice)

    @contextlib.asynccontextmanager
    async def scanning(
        self, on_report: Callable[[Report], object], *, active: bool = True, anew: Callable[[], bool] | None = None
    ) -> AsyncIterator[None]:
        """Ends at once when the controller is lost."""
        assert self.stack is not None
        gone, loop = self.stack.host.gone, asyncio.get_running_loop()
        is_over = False
        async with asyncio.timeout(None) as scope:

            def end(_: asyncio.Future[None]) -> None:
                if not is_over:  # a callback that is due already cannot be taken back
                    scope.reschedule(loop.time())

            gone.add_done_callback(end)
            try:
                async with super().scanning(on_report, active=active):
                    yield
            finally:
                is_over = True
                gone.remove_done_callback(end)
