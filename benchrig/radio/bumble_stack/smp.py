"""bumble's pairing session, of the bench and of simulated devices, with what it lacks of the protocol put in: the key size is
agreed on and keys are cut to it, a session ends and does not come back, silence ends it too (Core Vol 3 Part H 2.3, 3.4)."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal, TypeAlias, cast

from cryptography.hazmat.primitives.asymmetric import ec

from benchrig.errors import InternalError
from benchrig.radio.bumble_stack.bumble_api import PairingConfig, smp
from benchrig.radio.bumble_stack.smp_order import may_follow
from benchrig.radio.bumble_stack.terms import Conduct, Delegate
from benchrig.radio.security import (
    DEBUG_KEY,
    INVALID_KEY,
    LARGEST_KEY,
    SMALLEST_KEY,
    Features,
    Method,
    Protection,
    Wish,
)

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection

End: TypeAlias = Literal["self", "peer"]

SILENCE = 30.0  # s, since the last PDU
METHODS: dict[smp.PairingMethod, Method] = {
    smp.PairingMethod.JUST_WORKS: "just works",
    smp.PairingMethod.PASSKEY: "passkey",
    smp.PairingMethod.NUMERIC_COMPARISON: "numeric comparison",
    smp.PairingMethod.OOB: "out of band",
}
_LARGEST_CAPABILITY = smp.IoCapability.KEYBOARD_DISPLAY


class SmpTimeout(Exception):
    """Neither side has said anything for 30 s: there is no pairing on this link any more."""


class EncryptionRefused(Exception):
    """The link was not encrypted with the key that was just agreed on; `code` is the controller's word."""

    def __init__(self, code: int) -> None:
        super().__init__(f"encryption refused: 0x{code:02X}")
        self.code = code


class Session(smp.Session):
    """One pairing. `failed_by` says who sent Pairing Failed; with a `key_fault` this side did, for the other one's key.
    `expect` is told what the link is about to be encrypted with."""

    def __init__(self, manager: smp.Manager, connection: Connection, config: PairingConfig, is_initiator: bool) -> None:  # fmt: skip
        self.key_size = LARGEST_KEY
        self.failed_by: End | None = None
        self.peer_features: Features | None = None
        self.timed_out, self.key_fault = False, ""
        self._completed = self._encrypting = False
        self.expect: Callable[[Protection], None] = lambda _: None
        self._ltk = b""
        self._last_heard: int | None = None
        self._nonce = secrets.token_bytes(16)
        self._stk: bytes | None = None
        self._timer: asyncio.TimerHandle | None = None
        # bumble leaves these out until they are known
        self.tk, self.pres = bytes(16), b""
        super().__init__(manager, connection, config, is_initiator)
        connection.on(connection.EVENT_CONNECTION_ENCRYPTION_FAILURE, self._on_encryption_failure)

    @property
    def side(self) -> Delegate:
        return cast(Delegate, self.pairing_config.delegate)

    @property
    def wish(self) -> Wish:
        return self.side.terms.wish

    @property
    def conduct(self) -> Conduct:
        return self.side.terms.conduct

    @property
    def method(self) -> Method:
        return METHODS[self.pairing_method]

    @property
    def is_agreed(self) -> bool:
        """Whether both sides have said what they offer, so that `method` and the rest is known."""
        return bool(self.pres)

    @property
    def protection(self) -> Protection:
        """What the keys of this session are worth."""
        return Protection(self.pairing_method != smp.PairingMethod.JUST_WORKS, self.sc, self.key_size)

    # How it ends

    @property
    def completed(self) -> bool:
        """Set by bumble, however it ended."""
        return self._completed

    @completed.setter
    def completed(self, value: bool) -> None:
        self._completed = value
        if value:
            self._stop_waiting()

    def _stop_waiting(self) -> None:
        if self._timer:
            self._timer.cancel()
        self.side.end()

    def on_disconnection(self, reason: int) -> None:
        super().on_disconnection(reason)
        self.connection.remove_listener(
            self.connection.EVENT_CONNECTION_ENCRYPTION_FAILURE, self._on_encryption_failure
        )
        self._stop_waiting()

    def _give_up(self, error: Exception) -> None:
        """End without a word of either side."""
        if not self.completed:
            self.completed = True
            if self.pairing_result is not None and not self.pairing_result.done():
                self.pairing_result.set_exception(error)

    def _on_silence(self) -> None:
        self.timed_out = not self.completed
        self._give_up(SmpTimeout())

    def _on_encryption_failure(self, code: int) -> None:
        """The other side may know nothing of it, where the link stays."""
        if not self.completed:
            self._give_up(EncryptionRefused(code))
            reason = smp.ErrorCode.UNSPECIFIED_REASON
            self.manager.send_command(self.connection, smp.SMP_Pairing_Failed_Command(reason=reason))

    def _restart_timer(self) -> None:
        if self._timer:
            self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_later(SILENCE, self._on_silence)

    # PDUs

    def send_command(self, command: smp.SMP_Command) -> None:
        """A Pairing Failed ends the session, wherever bumble sends it; an answer that comes too late is not sent. What bumble
        says in place of an exception of its own is no word of this side."""
        if self.completed:
            return
        if (broken := sys.exception()) is not None and self.side.error is None:
            self.side.error = InternalError(f"the Bluetooth stack failed in a pairing: {broken!r}")
        self._restart_timer()
        super().send_command(command)
        if isinstance(command, smp.SMP_Pairing_Failed_Command):
            self.failed_by = "self"
            self.on_pairing_failure(command.reason)

    def on_smp_command(self, command: smp.SMP_Command) -> None:
        if self.completed or not self.conduct.hears(command):
            return
        if command.code == smp.CommandCode.PAIRING_KEYPRESS_NOTIFICATION or self._is_late(command):
            return
        self._restart_timer()
        if isinstance(command, smp.SMP_Pairing_Failed_Command):
            self.failed_by = "peer"
        in_order = may_follow(self, self._last_heard, command.code)
        self._last_heard = command.code
        reason = self._agree(command) if in_order else smp.ErrorCode.UNSPECIFIED_REASON
        if reason:
            self.send_pairing_failed(smp.ErrorCode(reason))
        else:
            super().on_smp_command(command)

    def _is_late(self, command: smp.SMP_Command) -> bool:
        """Whether the other side sent this before it heard that an earlier pairing on this link was over."""
        answers = (smp.CommandCode.PAIRING_RESPONSE, smp.CommandCode.PAIRING_FAILED)
        return self.is_initiator and self._last_heard is None and command.code not in answers

    def _agree(self, command: smp.SMP_Command) -> int:
        """The reason why this side does not pair on what the other one offers; 0: it does, or this is no offer."""
        if not isinstance(command, (smp.SMP_Pairing_Request_Command, smp.SMP_Pairing_Response_Command)):
            return 0
        self.peer_features = _features(command)
        self.side.peer_bonds = bool(command.auth_req & smp.AuthReq.BONDING)
        self.key_size = min(self.maximum_encryption_key_size, command.maximum_encryption_key_size)
        if command.io_capability > _LARGEST_CAPABILITY or command.maximum_encryption_key_size > LARGEST_KEY:
            return smp.ErrorCode.INVALID_PARAMETERS
        if reason := self._objection_to_oob(command):
            return reason
        if self.wish.pairing == "secure connections" and not command.auth_req & smp.AuthReq.SC:
            return smp.ErrorCode.AUTHENTICATION_REQUIREMENTS
        if not (self.conduct.unbonded or self.side.peer_bonds):
            return smp.ErrorCode.AUTHENTICATION_REQUIREMENTS
        return smp.ErrorCode.ENCRYPTION_KEY_SIZE if self.key_size < max(SMALLEST_KEY, self.wish.least_key_size) else 0

    def _objection_to_oob(self, command: smp.SMP_Pairing_Request_Command | smp.SMP_Pairing_Response_Command) -> int:
        """Out of band is the method where one side says that it has data of the other one (Secure Connections), or both do
        (legacy; tables 2.6 and 2.7). Nobody is authenticated by data that were never given, or by a temporary key of zeros."""
        if not command.oob_data_flag:
            return 0
        known, given = self.wish.oob, self.side.terms.own_oob
        if self.sc and command.auth_req & smp.AuthReq.SC:
            claims = self.is_initiator and not (known or given)
            return smp.ErrorCode.INVALID_PARAMETERS if claims else 0
        lacks = self.oob_data_flag and not (known and known.key)
        return smp.ErrorCode.OOB_NOT_AVAILABLE if lacks else 0

    async def on_smp_pairing_request_command_async(self, command: smp.SMP_Pairing_Request_Command) -> None:
        if reason := await self.conduct.refusal(self.connection):
            self.send_pairing_failed(smp.ErrorCode(reason))
        else:
            await super().on_smp_pairing_request_command_async(command)

    def send_pairing_response_command(self) -> None:
        if reason := self.conduct.objection(self.protection):
            self.send_pairing_failed(smp.ErrorCode(reason))
        else:
            super().send_pairing_response_command()

    def check_expected_value(self, expected: bytes, received: bytes, error: smp.ErrorCode) -> bool:
        return not self.conduct.checks or super().check_expected_value(expected, received, error)

    def prompt_user_for_numeric_comparison(self, code: int, next_steps: object) -> None:
        """As bumble's, which refuses with the reason of another method."""

        async def prompt() -> None:
            same = False
            with contextlib.suppress(Exception):  # the delegate keeps it
                same = await self.side.compare_numbers(code, digits=6)
            if not same:
                self.send_pairing_failed(smp.ErrorCode.NUMERIC_COMPARISON_FAILED)
            elif callable(next_steps):
                next_steps()

        self.connection.cancel_on_disconnection(prompt())

    # Random numbers: bumble sends in their place what it has given out, or zeros, where the method is out of band

    @property
    def nx(self) -> tuple[bytes, bytes]:
        own, peer = super().nx
        return (self._nonce if self.pairing_method == smp.PairingMethod.OOB else own), peer

    def send_pairing_random_command(self) -> None:
        if self.sc and self.pairing_method == smp.PairingMethod.OOB:
            self.send_command(smp.SMP_Pairing_Random_Command(random_value=self._nonce))
        else:
            super().send_pairing_random_command()

    def send_pairing_confirm_command(self) -> None:
        if not self.sc and self.pairing_method == smp.PairingMethod.OOB:
            self.r = self._nonce
        super().send_pairing_confirm_command()

    def on_smp_pairing_public_key_command(self, command: smp.SMP_Pairing_Public_Key_Command) -> None:
        x, y = command.public_key_x[::-1], command.public_key_y[::-1]
        self.key_fault = self._fault_of(x, y)
        if self.key_fault == DEBUG_KEY:
            self.send_pairing_failed(smp.ErrorCode.AUTHENTICATION_REQUIREMENTS)
        elif self.key_fault:
            self.send_pairing_failed(smp.ErrorCode.INVALID_PARAMETERS)
        else:
            super().on_smp_pairing_public_key_command(command)

    def _fault_of(self, x: bytes, y: bytes) -> str:
        """Why a public key is not to be trusted; '' for one that is."""
        if x == smp.SMP_DEBUG_KEY_PUBLIC_X and not self.manager.debug_mode:
            return DEBUG_KEY
        if x == self.ecc_key.x and not self.manager.debug_mode:
            return INVALID_KEY
        return "" if is_on_curve(x, y) else INVALID_KEY

    # Keys

    @property
    def ltk(self) -> bytes:
        return self._ltk

    @ltk.setter
    def ltk(self, key: bytes) -> None:
        self._ltk = shortened(key if self.sc else self.conduct.legacy_key(key), self.key_size)

    @property  # type: ignore[override]  # bumble's starts as None
    def stk(self) -> bytes | None:
        return self._stk

    @stk.setter
    def stk(self, key: bytes | None) -> None:
        self._stk = key and shortened(key, self.key_size)

    def start_encryption(self, key: bytes) -> None:
        self._expect_encryption()
        super().start_encryption(key)

    def get_long_term_key(self, rand: bytes, ediv: int) -> bytes | None:
        """The key of this session, once it has one and until it has ended: after that the bond counts."""
        key = None if self.completed else super().get_long_term_key(rand, ediv)
        if not key:
            return None
        self._expect_encryption()
        return key

    def _expect_encryption(self) -> None:
        self._encrypting = True
        self.expect(self.protection)

    def on_connection_encryption_change(self) -> None:
        """bumble takes any encryption for the one of this session: one with an older key is not."""
        if self._encrypting:
            super().on_connection_encryption_change()


def _features(command: smp.SMP_Pairing_Request_Command | smp.SMP_Pairing_Response_Command) -> Features:
    return Features(
        int(command.io_capability),
        int(command.oob_data_flag),
        int(command.auth_req),
        int(command.maximum_encryption_key_size),
        int(command.initiator_key_distribution),
        int(command.responder_key_distribution),
    )


def is_on_curve(x: bytes, y: bytes) -> bool:
    """Whether these coordinates, 32 octets each, most significant first, are a point of P-256."""
    try:
        ec.EllipticCurvePublicNumbers(int.from_bytes(x), int.from_bytes(y), ec.SECP256R1()).public_key()
    except ValueError:
        return False
    return True


def shortened(key: bytes, size: int) -> bytes:
    """A key of `size` octets: the most significant ones, which are the last here, become zero (2.3.4)."""
    return key[:size] + bytes(LARGEST_KEY - size)
