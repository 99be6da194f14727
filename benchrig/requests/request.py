"""What is sent to a device to see whether it bears it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

# Fixed channels of an LE link (Core Vol 3 Part A 2.1)
ATT, SIGNALLING, SMP = 0x0004, 0x0005, 0x0006
# The largest MTU that makes sense: a write request with 512 octets (Core Vol 3 Part F 3.2.9), and two more
LARGEST_MTU = 517
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
