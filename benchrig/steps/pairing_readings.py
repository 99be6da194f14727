"""What pairing and encrypting come to, as readings, and who is to blame where they fail."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from benchrig.errors import BenchrigError, DeviceError, LinkLost, NoAnswer, StepFailed
from benchrig.radio.security import (
    DEBUG_KEY,
    ENCRYPTION,
    HIDDEN,
    INVALID_KEY,
    LINK_LOST,
    NONE,
    REASONS,
    TIMEOUT,
    Paired,
)
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import has_reference
from benchrig.source.shape import BAD, Reader, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.base import Bindable, ReadingType
from benchrig.steps.bench import Bench
from benchrig.steps.pairing_keys import Pairing, may_be
from benchrig.values.limit import ReadingLimit

if TYPE_CHECKING:
    from benchrig.radio.link import Link

FAILURES = (NONE, *REASONS.values(), TIMEOUT, ENCRYPTION, DEBUG_KEY, INVALID_KEY, LINK_LOST)
# A unit that refuses says so. These are no refusal, and count as one only where a limit names them.
_ENDINGS = (TIMEOUT, ENCRYPTION, DEBUG_KEY, INVALID_KEY, LINK_LOST)


def one_of(words: Iterable[str], what: str) -> Callable[[str], tuple[str, str] | None]:
    """What is wrong with a text that such a reading never is."""
    known = tuple(words)

    def wrong(text: str) -> tuple[str, str] | None:
        if text in known:
            return None
        return f"the {what} is never '{text}'", suggest(text, known) or f"write one of {', '.join(known)}"

    return wrong


OF_KEY = {
    "secure_connections": ReadingType("boolean", "", "whether the key is one of LE Secure Connections"),
    "authenticated": ReadingType("boolean", "", "whether the key is protected against a man in the middle"),
    "key_size": ReadingType("number", "", "size of the key in bytes"),
}


def report(bench: Bench, name: str, value: Any, lack: str) -> None:
    """A reading of the key; None is what nothing is known of: the radio does not tell it, or there is no key (`lack`)."""
    if value is not None:
        bench.reading(name, value)
    elif not lack:
        bench.not_measured(name, bench.lacks(name) or "the radio does not tell it")
    elif bench.wanted(name):
        bench.reading(name, None, why=lack)


def error_of(result: Paired, what: str = "the pairing failed") -> BenchrigError:
    """Who is to blame for a pairing that failed."""
    advice = _ADVICE.get(result.failure, "")
    if result.failure == LINK_LOST:
        return LinkLost("the link was lost in the pairing")
    if result.failure == TIMEOUT:
        return NoAnswer(
            f"{what}: {TIMEOUT}: the device sent nothing more for 30 s", advice=_IN_TIME.get(result.method or "", "")
        )
    if result.failure == DEBUG_KEY:
        advice = "switch the debug mode of the firmware's security manager off"
        return DeviceError(
            f"{what}: the device has the debug key of the specification, which everybody knows", advice=advice
        )
    if result.failure == INVALID_KEY:
        return DeviceError(f"{what}: the device sent no point of the curve as its public key, or benchrig's own one")
    by_bench = result.failed_by == "bench"
    kind = StepFailed if by_bench and result.failure not in _AGAINST_THE_RULES else DeviceError
    return kind(f"{what}: {failure_words(result.failure, result.failed_by)}", advice=advice)


def failure_words(failure: str, failed_by: str | None) -> str:
    """'confirm value failed (the device refused)'."""
    if failure == HIDDEN:
        return "the system does not tell why"
    if failure in (TIMEOUT, LINK_LOST):
        return failure
    against = " what is against the protocol" if failure in _AGAINST_THE_RULES else ""
    who = {"device": "the device refused", "bench": f"benchrig refused{against}"}
    return f"{failure} ({who.get(failed_by or '', 'which side refused is not known')})"


# No value of a plan makes the bench refuse so, but what the unit sent: a key of less than 7 octets, a PDU out of its order,
# fields that mean nothing, data out of band that nobody gave it.
_AGAINST_THE_RULES = (REASONS[0x06], REASONS[0x08], REASONS[0x0A])
# What a person does at the unit is what it may have waited for.
_IN_TIME = {
    "passkey": "see whether the passkey was typed on the unit in time, where it is typed there",
    "numeric comparison": "see whether the number was confirmed on the unit in time",
}
_ADVICE = {
    REASONS[0x03]: "see pair:, mitm: and pairing: of the step, and what the device demands",
    REASONS[0x04]: "see whether the passkey is the one that the device means",
    REASONS[0x06]: "see key_size: of the step, and the smallest key that the device takes",
    REASONS[
        0x09
    ]: "add a wait before this step: the device makes who has failed wait; SMP packets of a robust step count too",
    REASONS[0x0C]: "the two show different numbers: see whether another device is in between",
}


_USED_BY = {"passkey": "passkey", "number": "numeric comparison", "out_of_band": "out of band"}


def check_used(keys: Pairing, result: Paired) -> None:
    """A unit that pairs without the number that it was to ask for has proven nothing by it. StepFailed."""
    given = [key for key in _USED_BY if getattr(keys, key) is not None]
    if given and result.failure == NONE and result.method not in (None, *(_USED_BY[key] for key in given)):
        message = f"the pairing ({result.method}) did not ask for the {given[0].replace('_', ' ')} of the step"
        raise StepFailed(message, advice=f"see what the unit demands; take out {given[0]}, or add a limit on method")


# The end of a link that is the unit's decision, or the system's: no sign of a crash, or of a bad place.
_ENDED_IN_ORDER = ("remote user terminated connection", "authentication failure", "disconnected")


# A unit that has refused a pairing or a key may end the link next: a few connection intervals later, if at all.
_ENDS_WITHIN = 0.5


async def ended_or_staying(link: Link) -> None:
    """See whether the link ends after a refusal, before somebody counts on it."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(_ENDS_WITHIN):
            await link.lost.wait()


def is_broken(link: Link) -> bool:
    """Whether the link has ended, and neither side has ended it."""
    return not (link.is_up or link.ended_here or link.lost_reason in _ENDED_IN_ORDER)


def fails(limits: Mapping[str, Bindable]) -> bool:
    """Whether the failure is what the plan expects."""
    return "failure" in limits and not may_be(limits["failure"], NONE)


def judges(limit: Bindable | None, failure: str) -> bool:
    """Whether a limit on failure is for this one. Where it lets more pass than it names, those that the unit tells are meant:
    `{differs: none}` is satisfied by no link that is lost."""
    if limit is None:
        return False
    if failure == HIDDEN:  # which reason it was is not known, but that it was one
        return any(may_be(limit, each) for each in FAILURES[1:])
    passes, names = may_be(limit, failure), not may_be(limit, HIDDEN)
    if failure == LINK_LOST:
        return passes and names
    return failure not in _ENDINGS or names or not passes


def limits_written(node: MappingNode) -> Mapping[str, Bindable]:
    """The limit on failure of a step as it is written; one that waits for the run is none yet."""
    expected = node.get("expect")
    written = expected.get("failure") if isinstance(expected, MappingNode) else None
    if written is None or has_reference(written):
        return {}
    limit = Reader(Problems()).read(written, ReadingLimit)
    return {} if limit is BAD or is_late(limit) else {"failure": limit}
