"""Notifications and indications that nobody asked for: a server sends them only while its CCCD says so (Core Vol 3
Part G 3.3.3.3). Clients drop them, so nobody would know."""

from __future__ import annotations

import asyncio
import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Client

NOTIFICATIONS, INDICATIONS = 1, 2  # the bits of a CCCD
# What was under way when it was told to stop may still come.
LATE = 1.0


class Unasked:
    """`counts` says how many came by handle of the value."""

    def __init__(self, client: Client) -> None:
        self.counts: dict[int, int] = {}
        self._asked: dict[int, int] = {}
        self._ended: dict[int, float] = {}
        for name, bit in (("notification", NOTIFICATIONS), ("indication", INDICATIONS)):
            handler = f"on_att_handle_value_{name}"
            setattr(client, handler, functools.partial(self._take, getattr(client, handler), bit))

    def configured(self, handle: int, value: bytes) -> None:
        """The CCCD of the value with this handle says so from now on."""
        bits = value[0] if value else 0
        if self._asked.get(handle, 0) & ~bits:
            self._ended[handle] = asyncio.get_running_loop().time()
        self._asked[handle] = bits

    def _take(self, deliver: Callable[[Any], None], bit: int, pdu: Any) -> None:
        handle = pdu.attribute_handle
        if not self._asked.get(handle, 0) & bit and not self._has_just_ended(handle):
            self.counts[handle] = self.counts.get(handle, 0) + 1
        deliver(pdu)

    def _has_just_ended(self, handle: int) -> bool:
        ended = self._ended.get(handle)
        return ended is not None and asyncio.get_running_loop().time() - ended < LATE
