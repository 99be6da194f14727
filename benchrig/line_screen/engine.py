"""What the screen needs of a line."""

from __future__ import annotations

import asyncio
from typing import Protocol

from benchrig.line.view import LineView


class Shown(Protocol):
    """A line at work. `changed` is set by the line whenever its view has changed, and cleared by the screen."""

    changed: asyncio.Event

    def view(self) -> LineView:
        """What is to be shown now; the line has ended when its state is 'ended'."""
        ...

    async def read(self, text: str, seen: int | None = None) -> None:
        """A line that was scanned or typed, with the control characters in it; `seen` is the number of the question that was
        read before it was begun, 0 for none. Returns soon."""
        ...

    def interrupt(self) -> None:
        """Ctrl-C: the line ends in order; the second time it hurries."""
        ...

    def leave(self) -> None:
        """The terminal is gone: the line ends in order, however often that is said."""
        ...
