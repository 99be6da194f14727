"""Deeds of security -> steps of a plan. No passkey is in them: a run asks for it anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from benchrig.desk.prompt.deeds import Deed, EncryptDone, PairDone, UnpairDone
from benchrig.plan.writing import StepText
from benchrig.radio.security import LARGEST_KEY, NONE, Encrypted, Paired, Wish
from benchrig.source.writing import Bare

_NO_BOND = "The session encrypted here with the key of an earlier bond; a plan has to pair first: add a pair step."


def security_steps(deed: PairDone | EncryptDone | UnpairDone, before: Sequence[Deed]) -> Iterator[StepText]:
    """`before` is what was done until then."""
    match deed:
        case PairDone():
            yield pair_step(deed.wish, deed.paired)
        case EncryptDone():
            yield _encrypt(deed) if _has_bond(before) else StepText(remarks=[_NO_BOND])
        case UnpairDone():
            yield (
                StepText("unpair")
                if _has_bond(before)
                else StepText(remarks=["unpair: left out: nothing was paired here"])
            )


def ends_link(before: Sequence[Deed]) -> bool:
    """Whether the step that was written last leaves no link."""
    return bool(before) and isinstance(before[-1], UnpairDone) and _has_bond(before[:-1])


def _has_bond(before: Sequence[Deed]) -> bool:
    """Whether a step before has made a bond that no step has taken away."""
    for deed in reversed(before):
        if isinstance(deed, UnpairDone):
            return False
        if isinstance(deed, PairDone):
            return deed.paired.failure == NONE and deed.wish.bonding
    return False


def pair_step(wish: Wish, paired: Paired) -> StepText:
    """The pairing as it went, with what it came to as limits."""
    step = StepText("pair", wish.capability, _keys(wish))
    if paired.failure != NONE:
        step.hold("failure", {"equals": paired.failure})
        return step
    for reading in ("method", "secure_connections", "authenticated", "bonded"):
        _hold(step, reading, getattr(paired, reading))
    _hold_key(step, paired)
    return step


def _keys(wish: Wish) -> dict[str, Any]:
    """What is not as the step has it by itself."""
    keys: dict[str, Any] = {}
    if not wish.mitm and wish.capability != "none":
        keys["mitm"] = False
    if wish.pairing != "either":
        keys["pairing"] = wish.pairing
    if not wish.bonding:
        keys["bonding"] = False
    if wish.key_size != LARGEST_KEY:
        keys["key_size"] = Bare(str(wish.key_size))
    return keys


def _encrypt(deed: EncryptDone) -> StepText:
    step, encrypted = StepText("encrypt"), deed.encrypted
    if encrypted.failure != NONE:
        step.hold("failure", {"equals": encrypted.failure})
        return step
    for reading in ("authenticated", "secure_connections"):
        _hold(step, reading, getattr(encrypted, reading))
    _hold_key(step, encrypted)
    return step


def _hold(step: StepText, reading: str, value: Any) -> None:
    if value is not None:
        step.hold(reading, {"equals": value})


def _hold_key(step: StepText, made: Paired | Encrypted) -> None:
    if made.key_size is not None:
        step.hold("key_size", {"min": Bare(str(made.key_size))})
