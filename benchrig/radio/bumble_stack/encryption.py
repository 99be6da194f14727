"""Encrypting a link of the bench with the key of a bond. (bumble's own hangs where the link is encrypted already.)"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from benchrig.errors import StationError
from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.bumble_stack.keys import bond_of, identification, link_key, protection_of
from benchrig.radio.security import (
    ANOTHER_KEY,
    ENCRYPTION,
    LINK_LOST,
    NO_KEY,
    TIMEOUT,
    Encrypted,
    Protection,
)

if TYPE_CHECKING:
    from benchrig.radio.bonds import LongTermKey
    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.bumble_stack.link import ClientLink
    from benchrig.radio.bumble_stack.stack import HostStack

# A link layer procedure that gets no answer ends the link after 40 s (Core Vol 6 Part B 5.2): do not wait for that.
WITHIN = 30.0
_CODES = hci.HCI_ErrorCode
REFUSED = {
    _CODES.PIN_OR_KEY_MISSING_ERROR: NO_KEY,
    _CODES.CONNECTION_TERMINATED_DUE_TO_MIC_FAILURE_ERROR: ANOTHER_KEY,
}
# A unit without the key may end the link in place of saying so.
ENDED = REFUSED | {_CODES.AUTHENTICATION_FAILURE_ERROR: NO_KEY}


async def encrypt(stack: HostStack, link: ClientLink) -> Encrypted:
    """Raises StationError without a bond, and where the controller is lost."""
    if stack.lost:
        raise StationError(f"encrypt: {stack.lost}")
    if not link.is_up:
        return Encrypted(LINK_LOST)
    if protection := stack.security.protection(link.connection):
        return _encrypted(protection)
    bond = bond_of(stack.bonds, link.connection)
    key = link_key(bond) if bond else None
    if bond is None or key is None:
        raise StationError("encrypt: no key for this unit is known here", advice="pair with it first")
    stack.security.expect(link.connection, protection_of(bond))
    return await _ended(stack, link, key)


async def _ended(stack: HostStack, link: ClientLink, key: LongTermKey) -> Encrypted:
    changed = _change(link.connection)
    try:
        await _ask(stack, link.connection, key)
        either: list[asyncio.Future[Any]] = [changed, link.over]
        await asyncio.wait(either, timeout=WITHIN, return_when=asyncio.FIRST_COMPLETED)
    except hci.HCI_Error as exc:
        return Encrypted(REFUSED.get(_CODES(exc.error_code or 0), ENCRYPTION))
    finally:
        changed.cancel()
    if stack.lost:
        raise StationError(f"encrypt: {stack.lost}")
    if changed.done() and not changed.cancelled():
        return _told(stack, link, changed.result())
    if link.over.done():
        return Encrypted(ENDED.get(link.reason, LINK_LOST) if link.reason else LINK_LOST)
    link.abandon("the encryption was not answered")
    return Encrypted(TIMEOUT)


async def _ask(stack: HostStack, connection: Connection, key: LongTermKey) -> None:
    random, diversifier = identification(key)
    await stack.host.send_async_command(
        hci.HCI_LE_Enable_Encryption_Command(
            connection_handle=connection.handle,
            random_number=random,
            encrypted_diversifier=diversifier,
            long_term_key=bytes(key.key),
        )
    )


def _change(connection: Connection) -> asyncio.Future[int]:
    """What the controller says of the encryption: 0, or the reason why there is none."""
    change: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    def told(code: int = 0) -> None:
        if not change.done():
            change.set_result(code)

    def forget(_: object) -> None:
        for event in events:
            connection.remove_listener(event, told)

    events = (
        connection.EVENT_CONNECTION_ENCRYPTION_CHANGE,
        connection.EVENT_CONNECTION_ENCRYPTION_KEY_REFRESH,
        connection.EVENT_CONNECTION_ENCRYPTION_FAILURE,
    )
    for event in events:
        connection.on(event, told)
    change.add_done_callback(forget)
    return change


def _told(stack: HostStack, link: ClientLink, code: int) -> Encrypted:
    protection = stack.security.protection(link.connection)
    if code or protection is None:
        return Encrypted(REFUSED.get(_CODES(code), ENCRYPTION))
    return _encrypted(protection)


def _encrypted(protection: Protection) -> Encrypted:
    return Encrypted(
        authenticated=protection.authenticated,
        secure_connections=protection.secure_connections,
        key_size=protection.key_size,
    )
