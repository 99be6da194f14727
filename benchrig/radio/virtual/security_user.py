"""Who is at a simulated device while it pairs: reads its display, types on it, compares numbers."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.values.passkey import LARGEST_PASSKEY, digits_of

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.security_spec import SecuritySpec

ACCEPT, REFUSE = "accept", "refuse"


class DeviceUser:
    """Answers by what the specification says, or by what is entered from outside. `on_display` hears each number that the
    device shows."""

    def __init__(self, spec: SecuritySpec, chance: random.Random, on_display: Callable[[str], None]) -> None:
        self._spec, self._chance, self._on_display = spec, chance, on_display
        self._entry: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    def put(self, text: str) -> None:
        """Somebody enters this; what has not been asked for yet waits for the question, and a further one replaces it."""
        if self._entry.done():
            self._entry = asyncio.get_running_loop().create_future()
        self._entry.set_result(text)

    async def _entered(self) -> str:
        text = await asyncio.shield(self._entry)
        self._entry = asyncio.get_running_loop().create_future()
        return text

    async def _take_time(self) -> None:
        await asyncio.sleep(self._spec.answer_after.seconds)

    def chosen(self) -> int:
        fixed = self._spec.passkey.number
        return self._chance.randrange(LARGEST_PASSKEY + 1) if fixed is None else fixed

    async def enter(self) -> int | None:
        fixed = self._spec.passkey.number
        text = await self._entered() if fixed is None else str(fixed)
        await self._take_time()
        return int(text) if text.isdecimal() and len(text) <= len("000000") else None

    async def show(self, passkey: int) -> None:
        self._on_display(digits_of(passkey))

    async def compare(self, number: int) -> bool:
        self._on_display(digits_of(number))
        if self._spec.faults.confirms_unasked:
            return True
        answer = await self._entered() if self._spec.compare == "ask" else self._spec.compare
        await self._take_time()
        return answer == ACCEPT
