"""What is sent to a device to see whether it bears it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from benchrig.values.channels import ATT

MOST_TIMES = 1000


@dataclass(frozen=True)
class Send:
    """The payload of one frame, as it is."""

    octets: bytes
    channel: int = ATT


@dataclass(frozen=True)
class Together:
    """Requests of which none waits for the answer to the one before."""

    parts: tuple[Send, ...]


@dataclass(frozen=True)
class Storm:
    """So many writes to a client characteristic configuration, on and off in turn, and off at last."""

    handle: int
    times: int


@dataclass(frozen=True)
class Reconnect:
    """End the link and connect again, so many times, one right after the other."""

    times: int


Request: TypeAlias = Send | Together | Storm | Reconnect

# What a device in order always answers: Find Information for one handle (Core Vol 3 Part F 3.4.3.1)
HARMLESS = Send(bytes.fromhex("04 01 00 01 00"))
