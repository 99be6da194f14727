"""The security of one link of the bench: pair, encrypt, forget; every one of them ends (see radio/security.py)."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from benchrig.errors import StationError
from benchrig.radio.bumble_stack.bumble_api import core, hci, smp
from benchrig.radio.bumble_stack.encryption import encrypt
from benchrig.radio.bumble_stack.keys import bond_of, link_key
from benchrig.radio.bumble_stack.smp import EncryptionRefused, Session, SmpTimeout
from benchrig.radio.bumble_stack.terms import Terms
from benchrig.radio.security import (
    ENCRYPTION,
    LINK_LOST,
    NONE,
    TIMEOUT,
    Encrypted,
    Level,
    Paired,
    Party,
    Side,
    Wish,
    reason_in_words,
)

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.link import ClientLink
    from benchrig.radio.bumble_stack.stack import HostStack

_MIC_FAILURE = hci.HCI_ErrorCode.CONNECTION_TERMINATED_DUE_TO_MIC_FAILURE_ERROR


class ClientSecurity:
    """`name` is what the unit is called, for its bond."""

    def __init__(self, stack: HostStack, link: ClientLink, name: str) -> None:
        self._stack = stack
        self._link = link
        self._name = name

    @property
    def level(self) -> Level:
        protection = self._stack.security.protection(self._link.connection)
        return protection.level if protection else Level.NO_SECURITY

    @property
    def is_bonded(self) -> bool:
        bond = bond_of(self._stack.bonds, self._link.connection)
        return bond is not None and link_key(bond) is not None

    async def forget(self) -> None:
        self._forget()

    def _forget(self) -> None:
        if bond := bond_of(self._stack.bonds, self._link.connection):
            self._stack.security.forget(bond)

    async def encrypt(self) -> Encrypted:
        async with self._link.security_lock:
            return await encrypt(self._stack, self._link)

    async def pair(self, wish: Wish, party: Party) -> Paired:
        async with self._link.security_lock:
            self._check()
            if not self._link.is_up:
                return Paired(LINK_LOST)
            self._forget()
            session = self._stack.security.begin(self._link.connection, Terms(wish, party, name=self._name))
            paired = None
            try:
                paired = await self._run(session)
            finally:
                if paired is None or paired.failure != NONE:
                    self._forget()  # kept just before it came to nothing
            return paired

    def _check(self) -> None:
        if self._stack.lost:
            raise StationError(f"pair: {self._stack.lost}")

    async def _run(self, session: Session) -> Paired:
        """Carry a pairing out. A cancelled call ends it, with a word to the unit."""
        task = self._stack.tasks.start(session.pair())
        try:
            await asyncio.wait({task, self._link.over}, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            self._stack.tasks.ignore(task)
            session.send_pairing_failed(smp.ErrorCode.UNSPECIFIED_REASON)
            raise
        if not task.done():
            self._stack.tasks.drop(task)
        elif session.timed_out:
            self._link.abandon("the pairing was not answered")
            await self._link.close()
        self._check()
        if session.side.error:
            raise session.side.error
        return self._outcome(session, task)

    def _outcome(self, session: Session, task: asyncio.Task[None]) -> Paired:
        """What the unit has said outweighs that the link has gone. Keys that do not fit are the unit's: it has checked what
        this side proved, or should have."""
        error = task.exception() if task.done() and not task.cancelled() else None
        if session.key_fault:
            return _failed(session, session.key_fault, "device")
        if isinstance(error, core.ProtocolError):
            return _failed(
                session, reason_in_words(error.error_code or 0), "device" if session.failed_by == "peer" else "bench"
            )
        if isinstance(error, SmpTimeout):
            return _failed(session, TIMEOUT, "bench" if session.side.is_late else "device")
        if isinstance(error, EncryptionRefused):
            return _failed(session, ENCRYPTION, "device")
        if error is not None:
            raise error
        if task.done() and not task.cancelled():
            return self._paired(session)
        if self._link.reason == _MIC_FAILURE:
            return _failed(session, ENCRYPTION, "device")
        return _failed(session, LINK_LOST)

    def _paired(self, session: Session) -> Paired:
        worth = session.protection
        return Paired(
            method=session.method,
            secure_connections=worth.secure_connections,
            authenticated=worth.authenticated,
            bonded=self.is_bonded,
            key_size=worth.key_size,
            identity_address=session.peer_bd_addr.to_string(False) if session.peer_bd_addr else "",
            features=session.peer_features,
        )


def _failed(session: Session, failure: str, by: Side | None = None) -> Paired:
    """With what was agreed on before it failed."""
    if not session.is_agreed:
        return Paired(failure, by, features=session.peer_features)
    return Paired(failure, by, session.method, session.sc, key_size=session.key_size, features=session.peer_features)


class Nobody:
    """A bench at which nobody is, as a party: it has neither keys nor a display."""

    async def enter(self) -> int | None:
        return None

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        pass

    async def compare(self, number: int) -> bool:
        return False
