"""A connection to a unit that Linux is paired with: Linux encrypts it by itself, and a unit that does not take the key ends it.

Linux does not tell that from a link that was lost while it was set up. What the kernel says decides, where this user may
hear it; elsewhere the same end several times in a row, and that it does not come without the key.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from benchrig.errors import ConnectFailed, ConnectTimeout, StationError
from benchrig.radio.bluez import DEVICE, BluezRefusal, KnownDevice
from benchrig.radio.bluez_kernel import BY_AUTHENTICATION, Heard
from benchrig.radio.bluez_security import Security
from benchrig.radio.foreign import IN_PROGRESS
from benchrig.radio.link import Link
from benchrig.radio.security import ANOTHER_KEY, NO_KEY

# So many times a link with a key ends while it is set up until the key may be the reason.
ENDS = 3
_MIC_FAILURE = 0x3D
# What BlueZ answers when the link ended before it was encrypted, and while it is still busy with that (src/error.h)
_ABORTED, _BUSY = "le-connection-abort-by-local", "Operation already in progress"
# BlueZ tells when a link is there or gone; nothing is lost by looking.
LOOK_EVERY = 0.05


@dataclass(frozen=True)
class Refused:
    """The key that the unit does not take: it has none, or another one; `proven` by the kernel's word."""

    failure: str
    proven: bool


async def connected(
    security: Security,
    device: KnownDevice,
    connect: Callable[[], Awaitable[Link]],
    deadline: float,
    lock: asyncio.Lock,
) -> tuple[Link, bool] | Refused:
    """The link, and whether it is encrypted. `connect` is bleak's, which joins the link that is there; `lock` keeps attempts to
    connect apart. What the link itself ends with is raised: LinkError."""
    doing = f"connect to {device.name or device.address}"
    for ended in range(1, ENDS + 1):
        heard = security.kernel.listen(device.address)
        try:
            async with lock, asyncio.timeout_at(deadline):
                otherwise = await _ended(security, device)
        except TimeoutError as exc:
            with contextlib.suppress(StationError):
                await security.bluez.disconnect(device)
            raise ConnectTimeout(f"{doing}: no connection within the time allowed") from exc
        if not otherwise:
            link = await connect()
            security.kernel.catch_up()
            return link, heard.encrypted is not False
        refused = _why(security, heard, otherwise)
        if refused is not None and (refused.proven or ended == ENDS):
            return refused
    raise ConnectFailed(f"{doing}: the link was lost while it was being set up")


async def _ended(security: Security, device: KnownDevice) -> str:
    """Connect, and wait for the table; '' when it is there. When the link ends before, it may be that the unit has no key
    (the link was there for BlueZ), or another one (it was not). bleak would try the latter again until its time is over."""
    try:
        await _begun(security, device)
    except BluezRefusal as refusal:
        # what else it refuses with bleak meets again, and tells it in its words
        return ANOTHER_KEY if refusal.details == _ABORTED else ""
    while (now := await security.bluez.device_at(device.path)) is not None and now.connected:
        if now.resolved:
            return ""
        await asyncio.sleep(LOOK_EVERY)
    return NO_KEY


async def _begun(security: Security, device: KnownDevice) -> None:
    """Connect, once BlueZ is done with the attempt before."""
    while True:
        try:
            await security.bluez.call(device.path, DEVICE, "Connect", within=None)
            return
        except BluezRefusal as refusal:
            if refusal.name != IN_PROGRESS and refusal.details != _BUSY:
                raise
        await asyncio.sleep(LOOK_EVERY)


def _why(security: Security, heard: Heard, otherwise: str) -> Refused | None:
    """Whether it was the key, as far as that is known; None when it was not."""
    security.kernel.catch_up()
    if heard.refused is not None:
        return Refused(ANOTHER_KEY if heard.refused == _MIC_FAILURE else NO_KEY, proven=True)
    if security.kernel.sees:
        return None  # it would have been seen
    if heard.ended == BY_AUTHENTICATION:
        return Refused(NO_KEY, proven=True)
    return Refused(otherwise, proven=False)
