"""What the bench answers to the questions of BlueZ in a pairing that it has begun, and what they tell of its method."""

from __future__ import annotations

import asyncio
from typing import Any

from benchrig.errors import StationError
from benchrig.radio.security import REASONS, Method, Party
from benchrig.radio.security_offers import ALWAYS_RANDOM, OTHER_PASSKEY
from benchrig.tasks import Tasks

_METHODS: dict[str, Method] = {
    "RequestPasskey": "passkey",
    "DisplayPasskey": "passkey",
    "RequestConfirmation": "numeric comparison",
    "RequestAuthorization": "just works",
}


class PartyAnswers:
    """Of one pairing. `method` is None while nothing was asked, which just works and what is out of band leave it at;
    `refused` is the reason that BlueZ gives the unit for a refusal of ours, `error` what answering has raised."""

    def __init__(self, party: Party) -> None:
        self._party = party
        self.method: Method | None = None
        self.refused = ""
        self.error: Exception | None = None
        # whether a question is still open, and when one was last asked or answered
        self.is_open = False
        self.last_at = asyncio.get_running_loop().time()
        self._shown: int | None = None
        self._showing = Tasks()

    async def answer(self, question: str, values: list[Any]) -> int | None:
        self.method = _METHODS.get(question, self.method)
        self._now(is_open=True)
        try:
            return await self._answered(question, values)
        except Exception as error:  # whoever began the pairing raises it
            self.error = error
            return None
        finally:
            if not _is_cancelled():
                self._now(is_open=False)

    async def close(self) -> None:
        """What was still being shown is over with the pairing."""
        await self._showing.close()

    def _now(self, *, is_open: bool) -> None:
        self.is_open, self.last_at = is_open, asyncio.get_running_loop().time()

    async def _answered(self, question: str, values: list[Any]) -> int | None:
        if question == "RequestPasskey":
            return self._or_refused(await self._party.enter(), 0x01)
        if question == "RequestConfirmation":
            return self._or_refused(0 if await self._party.compare(int(values[0])) else None, 0x0C)
        if question == "DisplayPasskey":
            return self._show(int(values[0]))
        return 0 if question == "RequestAuthorization" else None

    def _or_refused(self, answer: int | None, reason: int) -> int | None:
        if answer is None:
            self.refused = REASONS[reason]
        return answer

    def _show(self, passkey: int) -> int:
        """BlueZ tells the same passkey again for each digit that is typed on the unit."""
        if self._shown is None:
            self._shown = passkey
            if self._party.chosen() not in (None, passkey):
                raise StationError(OTHER_PASSKEY, advice=ALWAYS_RANDOM)
            self._showing.leave(self._showed(passkey))
        return 0

    async def _showed(self, passkey: int) -> None:
        try:
            await self._party.show(passkey)
        except Exception as error:
            self.error = error


def _is_cancelled() -> bool:
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0
