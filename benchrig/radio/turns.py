"""Who may use a radio for what now, when several work with it at once: first come, first served."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from enum import IntEnum


class Use(IntEnum):
    """What somebody is about to do; a higher one comprises the lower ones. `ALONE` is what a controller does only while it
    neither scans nor connects for anybody else."""

    NOTHING = 0
    HEAR = 1
    CONNECT = 2
    ALONE = 3


@dataclass(eq=False)
class _Wish:
    use: Use
    granted: asyncio.Future[None]


@dataclass
class Turns:
    """Of one radio. A connection is made one at a time; with `one_at_a_time` nobody hears meanwhile either."""

    one_at_a_time: bool = False
    _at_work: list[_Wish] = field(default_factory=list)
    _waiting: list[_Wish] = field(default_factory=list)

    @contextlib.asynccontextmanager
    async def hold(self, use: Use) -> AsyncIterator[None]:
        """Wait for the turn, and give it back when the context ends."""
        turn = Turn(self)
        try:
            await turn.take(use)
            yield
        finally:
            turn.give_back()

    @property
    def is_waited_for(self) -> bool:
        """Whether somebody waits until somebody else has done."""
        return bool(self._waiting)

    async def wait(self, use: Use) -> _Wish:
        wish = _Wish(use, asyncio.get_running_loop().create_future())
        self._waiting.append(wish)
        self._grant()
        try:
            await wish.granted
        except BaseException:
            self.leave(wish)
            raise
        return wish

    def leave(self, wish: _Wish) -> None:
        for each in (self._at_work, self._waiting):
            if wish in each:
                each.remove(wish)
        self._grant()

    def _grant(self) -> None:
        """Nobody overtakes whom he would keep waiting."""
        before = [*self._at_work]
        for wish in [*self._waiting]:
            if not any(self._collide(wish.use, each.use) for each in before):
                self._waiting.remove(wish)
                self._at_work.append(wish)
                if not wish.granted.done():
                    wish.granted.set_result(None)
            before.append(wish)

    def _collide(self, one: Use, other: Use) -> bool:
        if Use.NOTHING in (one, other):
            return False
        both_connect = min(one, other) >= Use.CONNECT
        return self.one_at_a_time or both_connect or Use.ALONE in (one, other)


@dataclass
class Turn:
    """That of one user, who has one at a time."""

    turns: Turns
    _wish: _Wish | None = None

    async def take(self, use: Use) -> None:
        """Instead of what he had."""
        self.give_back()
        if use is not Use.NOTHING:
            self._wish = await self.turns.wait(use)

    def give_back(self) -> None:
        if self._wish is not None:
            self.turns.leave(self._wish)
            self._wish = None


class OwnTurn:
    """A turn that one of several has for himself, and may take again while he has it, also beside himself."""

    def __init__(self, shared: asyncio.Lock | None = None) -> None:
        self._shared = shared or asyncio.Lock()
        self._entering = asyncio.Lock()
        self._depth = 0

    def of_another(self) -> OwnTurn:
        """For whom it is another's while he has it."""
        return OwnTurn(self._shared)

    @contextlib.asynccontextmanager
    async def taken(self) -> AsyncIterator[None]:
        async with self._entering:
            if self._depth == 0:
                await self._shared.acquire()
            self._depth += 1
        try:
            yield
        finally:
            self._depth -= 1
            if self._depth == 0:
                self._shared.release()
