"""Numbers, shares and moments for people."""

from __future__ import annotations

from benchrig.study.estimate import Estimate
from benchrig.study.yields import Share
from benchrig.values.quantity import number_text


def number(value: float | None, measure: str = "") -> str:
    """Of a figure that was worked out: four digits. '' for none."""
    if value is None:
        return ""
    return with_measure(number_text(float(f"{value:.4g}")), measure)


def limit(value: float, measure: str = "") -> str:
    """All digits of a number that a person wrote."""
    return with_measure(number_text(value), measure)


def with_measure(text: str, measure: str) -> str:
    return f"{text} {measure}" if measure else text


def estimate(value: Estimate, measure: str = "") -> str:
    """'1.2 V (0.9 to 1.5)'."""
    if value.low is None or value.high is None:
        return number(value.value, measure)
    return f"{number(value.value, measure)} ({number(value.low)} to {number(value.high)})"


def share_of_whole(of: Estimate | None, none: str) -> str:
    """'27.9 % (13.5 to 81.6 %)'; a word for none."""
    if of is None:
        return none
    value, *ends = (None if each is None else f"{100 * each:.3g}" for each in (of.value, of.low, of.high))
    return f"{value} %" if None in ends else f"{value} % ({ends[0]} to {ends[1]} %)"


def percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.1f} %"


def interval(ends: tuple[float, float] | None) -> str:
    return "" if ends is None else f"{100 * ends[0]:.1f} to {100 * ends[1]:.1f} %"


def share(of: Share) -> str:
    """'38 of 40, 95.0 %, 95 % interval 83.1 to 99.4 %'."""
    if of.share is None:
        return f"{of.passed} of {of.of}"
    return f"{of.passed} of {of.of}, {percent(of.share)}, {100 * of.confidence:g} % interval {interval(of.exact)}"
