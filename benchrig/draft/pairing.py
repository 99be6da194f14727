"""The steps `pair` of a draft: the pairing as it went, and those that the device has refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TypeAlias

from benchrig.desk.prompt.security_steps import pair_step
from benchrig.desk.protection import Protection
from benchrig.desk.refusals import Refusal
from benchrig.desk.securing import wish_of
from benchrig.draft.evidence import Evidence
from benchrig.plan.writing import StepText
from benchrig.propose.proposal import Grounds, Proposal
from benchrig.radio.security import Capability, Paired
from benchrig.source.problem import counted
from benchrig.source.writing import Bare
from benchrig.values.passkey import digits_of

Step: TypeAlias = tuple[StepText, dict[str, Proposal]]

CONNECT_ATTEMPTS = 3


def pairing_step(capability: Capability, evidence: Evidence) -> Step:
    """No bond: what tries the access to attributes begins without one."""
    wish, seen = wish_of(capability, bonding=False), evidence.paired
    step = pair_step(wish, _alike(seen))
    reason = f"the same in {counted(len(seen), 'pairing')} of {counted(len(evidence.units), 'unit')}"
    return _proposed(step, reason, len(evidence.units))


def _alike(seen: Sequence[Paired]) -> Paired:
    """What all of them have come to."""
    names = ("method", "secure_connections", "authenticated", "key_size")
    same = {name: values.pop() for name in names if len(values := {getattr(each, name) for each in seen}) == 1}
    sizes = [each.key_size for each in seen if each.key_size is not None]
    return Paired(**same | {"key_size": min(sizes, default=None)})


def _proposed(step: StepText, reason: str, units: int) -> Step:
    """Its limits with what they rest on."""
    limits = {name: Proposal(limit, reason, Grounds(units)) for name, limit in step.expect.items()}
    return replace(step, expect={}), limits


def refusal_steps(found: Protection) -> Iterator[Step]:
    """Each over a link of its own. After each the unit takes no other pairing for a while, twice as long each time."""
    refusals = list({each.what: each for each in found.refusals}.values())
    if found.is_unchecked:
        yield StepText(remarks=["The unit did not refuse a wrong passkey: no step tries one."]), {}
    for number, refusal in enumerate(refusals):
        connect = {"name": f"connect to see {refusal.what} refused", "attempts": Bare(str(CONNECT_ATTEMPTS))}
        yield StepText("connect", keys=connect), {}
        yield _refused(refusal)
        yield StepText("disconnect", keys={"name": f"disconnect after {refusal.what}"}), {}
        if found.waited:
            wait = StepText("wait", Bare(f"{found.waited * 2**number:g} s"), {"name": f"wait after {refusal.what}"})
            yield wait, {}


def _refused(refusal: Refusal) -> Step:
    step = pair_step(refusal.wish, refusal.paired)
    step.keys = {"name": f"refuse {refusal.what}", **step.keys}
    if refusal.passkey is not None:
        step.keys["passkey"] = digits_of(refusal.passkey)
    return _proposed(step, "the device refused it so", 1)
