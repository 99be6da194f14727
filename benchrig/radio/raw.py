"""Octets on the L2CAP channels of a link, as they are: what no host stack would send, and what comes back."""

from __future__ import annotations

from typing import NamedTuple, Protocol


class Frame(NamedTuple):
    """The payload of one L2CAP frame, and its channel."""

    channel: int
    octets: bytes


class Raw(Protocol):
    """A link while nothing but this speaks on it. What the unit says of its own (notifications, indications, requests) is
    seen to, and is no answer."""

    def send(self, frame: Frame) -> None:
        """Put it on its way; the next one may follow before its answer. Nothing happens on a link that is gone."""
        ...

    async def hear(self, within: float) -> Frame | None:
        """The next frame that may be an answer; None when the time is over, or the link is gone."""
        ...
