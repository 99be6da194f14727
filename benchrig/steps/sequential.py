"""The sequential test of a repetition: rounds until it is decided whether the unit is accepted, and the limit that it brings.

sequential: {acceptable: 5 %, rejectable: 20 %, producer_risk: 5 %, consumer_risk: 10 %}
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import msgspec

from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.base import ReadingType
from benchrig.study.sequential import Decision, Sequential, characteristic, trials_needed
from benchrig.values.judging import BoundLimit, Judgement, Kind
from benchrig.values.share import Share

DECISION = "decision"
DECIDED = ReadingType("text", "", "accepted, rejected or undecided", options=("accepted", "rejected", "undecided"))
# How far beyond the rounds of the plan the number that is needed is looked for.
_TIMES, _LEAST = 10, 5000


class SequentialTest(msgspec.Struct, frozen=True):
    """A unit that fails in the share `acceptable` of its rounds is rejected with `producer_risk` at most, one that fails in
    `rejectable` is accepted with `consumer_risk` at most."""

    acceptable: Share
    rejectable: Share
    producer_risk: Share
    consumer_risk: Share

    def misfits(self) -> Iterable[Misfit]:
        for key in ("acceptable", "rejectable"):
            if getattr(self, key).part in (0, 1):
                yield Misfit(f"expected a share above 0 % and below 100 %, found {getattr(self, key)}", "", (key,))
        for key in ("producer_risk", "consumer_risk"):
            if not 0 < getattr(self, key).part < 0.5:
                message = f"expected a risk above 0 % and below 50 %, found {getattr(self, key)}"
                yield Misfit(message, "for example: 5 %", (key,))
        if self.acceptable.part >= self.rejectable.part:
            message = f"acceptable {self.acceptable} is not below rejectable {self.rejectable}"
            yield Misfit(message, "exchange the two, or write them apart", ("acceptable",))

    @property
    def test(self) -> Sequential:
        shares = (self.acceptable.part, self.rejectable.part)
        return Sequential.strict(*shares, self.producer_risk.part, self.consumer_risk.part)

    def hint(self, rounds: int) -> str:
        """How long it takes."""
        good, bad = (
            characteristic(self.test, share.part, rounds).mean_trials for share in (self.acceptable, self.rejectable)
        )
        return (
            f"takes {good:.0f} rounds on average for a unit with {self.acceptable} failures, {bad:.0f} for one with "
            f"{self.rejectable}, {rounds} at most"
        )

    def misfit_for(self, rounds: int) -> Misfit | None:
        """What is wrong with so many rounds at most: what is undecided then is not accepted, a risk of the producer too."""
        most = max(_TIMES * rounds, _LEAST)
        needed = _needed(self.test, self.producer_risk.part, most)
        if needed is not None and rounds >= needed:
            return None
        least = f"at least {needed}" if needed is not None else f"more than {most}"
        message = (
            f"{counted(rounds, 'round')} cannot keep the producer_risk of {self.producer_risk}: {least} are needed"
        )
        advice = f"write repeat: {needed}" if needed is not None else "write acceptable and rejectable farther apart"
        return Misfit(message, advice, ("repeat",))


_needed = lru_cache(maxsize=64)(trials_needed)


@dataclass(frozen=True)
class Trials:
    """The rounds that a test has seen."""

    rounds: int
    failed: int


class Accepted(msgspec.Struct, frozen=True):
    """The limit on the decision: the unit is accepted."""

    asked: SequentialTest

    @property
    def in_words(self) -> str:
        return f"accepted: {self.asked.acceptable} acceptable, {self.asked.rejectable} rejectable"

    def bind(self, kind: Kind, unit: str = "") -> BoundLimit:
        return BoundLimit((), unit)

    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]:
        return []

    def weigh(self, bound: BoundLimit, name: str, value: Any, evidence: Any, place: str) -> Judgement:
        """The sentence says how many rounds it took, and at which risk it is wrong."""
        assert isinstance(evidence, Trials)
        seen = f"{value} after {counted(evidence.rounds, 'round')}, {evidence.failed} failed"
        share, risk = self._risk(value)
        if risk is None:
            said = f"{seen}: it takes more rounds to accept the unit"
            return Judgement(False, self.in_words, said, place=place)
        said = f"{seen}: a unit that fails in {share} of its rounds is {value} with {risk} risk at most"
        sure = float(100 - risk.to("%"))
        return Judgement(value == "accepted", self.in_words, said, place=place, confidence=sure)

    def _risk(self, decision: Decision) -> tuple[Share | None, Share | None]:
        """The units for which this decision is wrong, and how often it is made of them."""
        if decision == "accepted":
            return self.asked.rejectable, self.asked.consumer_risk
        return (self.asked.acceptable, self.asked.producer_risk) if decision == "rejected" else (None, None)
