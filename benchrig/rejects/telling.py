"""What good units came to, in words."""

from __future__ import annotations

from benchrig.rejects.results import Rejects, Share, Tight
from benchrig.source.problem import counted


def percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def interval_words(rate: Share, confidence: float) -> str:
    """'at most 0.299 % at 95 % (one-sided)'."""
    if rate.sided == "one":
        return f"at most {percent(rate.high)} at {percent(confidence)} (one-sided)"
    return f"{percent(rate.low)} to {percent(rate.high)} at {percent(confidence)} (two-sided)"


def summary(rejects: Rejects) -> str:
    rate = rejects.rate
    if rate is None:
        return "no unit tested"
    told = f"{rate.hits} of {counted(rate.trials, 'good unit')} rejected"
    share = f", {percent(rate.share)}" if rate.hits else ""
    return f"{told}{share}: {interval_words(rate, rejects.confidence)}"


def proposal_words(tight: Tight, rate: float) -> str:
    """What the bound should be."""
    word = {"low": "min", "high": "max"}[tight.side]
    if tight.proposed is not None:
        now = f"{number(tight.now, tight.unit)}" if tight.now is not None else ""
        return f"{word}: {number(tight.proposed, tight.unit)} in place of {now} ({tight.method})"
    if tight.wider is not None:
        return f"{word}: wider by {number(tight.wider, tight.unit)} ({tight.method})"
    return f"{word}: too few units for {percent(rate)}: test {tight.needed}"


def number(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:.6g} {unit}".rstrip()
