"""Quantiles and tails of the distributions that intervals are made of; by scipy, loaded when it is asked."""

from __future__ import annotations

from statistics import NormalDist


def normal(part: float) -> float:
    """z: this part of a standard normal distribution is below."""
    return NormalDist().inv_cdf(part)


def student(part: float, freedom: float) -> float:
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    return float(stdtrit(freedom, part))


def chi_square(part: float, freedom: float) -> float:
    from scipy.special import chdtri

    return float(chdtri(freedom, 1 - part))


def f_ratio(part: float, above: float, below: float) -> float:
    """The quantile of F with so many degrees of freedom above and below the line."""
    from scipy.special import fdtri

    return float(fdtri(above, below, part))


def f_beyond(ratio: float, above: float, below: float) -> float:
    """The chance of an F as large or larger."""
    from scipy.special import fdtrc

    return float(fdtrc(above, below, ratio))


def sd_factors(freedom: float, confidence: float) -> tuple[float, float]:
    """What a standard deviation is multiplied with for the ends of its interval: √(ν/χ²) (normal values)."""
    risk = (1 - confidence) / 2
    return (freedom / chi_square(1 - risk, freedom)) ** 0.5, (freedom / chi_square(risk, freedom)) ** 0.5
