"""What a reading says of the true value where its uncertainty is known, and the guard band that a risk asks for.

JCGM 106:2012, clauses 7.4 and 8.3: a reading x with a standard uncertainty u says that the true value is normal about x,
where little was known before. ISO 14253-1 draws each limit in by a guard band g.
"""

from __future__ import annotations

from statistics import NormalDist

_STANDARD = NormalDist()


def conformance(reading: float, u: float, low: float | None, high: float | None) -> float:
    """The probability that the true value is within the limits: Φ((high - x)/u) - Φ((low - x)/u)."""
    if not u > 0:
        raise ValueError(f"expected a standard uncertainty above 0, found {u:g}")
    above = 0.0 if high is None else _STANDARD.cdf((reading - high) / u)
    below = 0.0 if low is None else _STANDARD.cdf((low - reading) / u)
    return max(0.0, 1.0 - above - below)


def guard_for_ratio(expanded: float, ratio: float = 1.0) -> float:
    """g = r U, with the expanded uncertainty U = 2u: r is 1 for ISO 14253-1 up to its edition of 2013, and 0.825 for
    g = 1.65 u, a conformance probability of 95 %, the default of its edition of 2017."""
    return ratio * expanded


def guard_for_risk(u: float, low: float | None, high: float | None, risk: float) -> float | None:
    """The guard band with which a reading on the acceptance limit conforms with 1 - risk. Both limits count; None where not
    even a reading in the middle conforms so surely."""
    if not 0 < risk < 0.5:
        raise ValueError(f"expected a risk above 0 and below 0.5, found {risk:g}")
    alone = _STANDARD.inv_cdf(1 - risk) * u
    if low is None or high is None:
        return alone
    least, most = alone, (high - low) / 2
    if least > most or conformance(high - most, u, low, high) < 1 - risk:
        return None
    while least < (middle := (least + most) / 2) < most:
        least, most = (middle, most) if conformance(high - middle, u, low, high) < 1 - risk else (least, middle)
    return most
