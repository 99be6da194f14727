"""Waiting for what must come to its end, whoever is cancelled meanwhile."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any


async def undisturbed(task: asyncio.Task[Any], interrupt: Callable[[], None] = lambda: None) -> None:
    """Wait until the task has ended, also when whoever waits is cancelled meanwhile: that calls `interrupt`, and is told
    afterwards."""
    cancelled: asyncio.CancelledError | None = None
    while not task.done():
        try:
            await asyncio.wait([task])
        except asyncio.CancelledError as error:
            cancelled = error
            interrupt()
    if cancelled is not None:
        if not task.cancelled():
            task.exception()  # nobody takes it any more
        raise cancelled
