"""The order in which the PDUs of a pairing come (Core Vol 3 Part H 2.3.5, 3.6.1, figures of appendix C). bumble takes them in
any order, and would go on without a public key."""

from __future__ import annotations

from benchrig.radio.bumble_stack.bumble_api import smp

_CODES = smp.CommandCode
ROUNDS = 20  # of passkey entry, one for each bit
_KEYS = frozenset(
    {
        _CODES.ENCRYPTION_INFORMATION,
        _CODES.MASTER_IDENTIFICATION,
        _CODES.IDENTITY_INFORMATION,
        _CODES.IDENTITY_ADDRESS_INFORMATION,
        _CODES.SIGNING_INFORMATION,
    }
)


def may_follow(session: smp.Session, last: int | None, code: int) -> bool:
    """Whether the other side may send this now; `last` is what it sent before."""
    return code == _CODES.PAIRING_FAILED or code in _following(session, last)


def _following(session: smp.Session, last: int | None) -> frozenset[int]:
    if last is None:
        return frozenset({_CODES.PAIRING_RESPONSE if session.is_initiator else _CODES.PAIRING_REQUEST})
    if last in (_CODES.PAIRING_REQUEST, _CODES.PAIRING_RESPONSE):
        return frozenset({_CODES.PAIRING_PUBLIC_KEY if session.sc else _CODES.PAIRING_CONFIRM})
    if last == _CODES.PAIRING_PUBLIC_KEY:
        return frozenset({_CODES.PAIRING_CONFIRM if _confirms(session) else _CODES.PAIRING_RANDOM})
    if last == _CODES.PAIRING_CONFIRM:
        return frozenset({_CODES.PAIRING_RANDOM})
    if last == _CODES.PAIRING_RANDOM and session.sc:
        more = session.pairing_method == smp.PairingMethod.PASSKEY and session.passkey_step < ROUNDS
        return frozenset({_CODES.PAIRING_CONFIRM if more else _CODES.PAIRING_DHKEY_CHECK})
    return _KEYS


def _confirms(session: smp.Session) -> bool:
    """Whether the other side commits itself to its random number first: in a comparison the one that answers does."""
    if session.pairing_method == smp.PairingMethod.PASSKEY:
        return True
    return session.pairing_method != smp.PairingMethod.OOB and session.is_initiator
