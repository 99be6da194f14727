"""A part of a whole: 5 %, 20 ppm."""

from __future__ import annotations

from typing import Any, ClassVar, Self

from benchrig.source.shape import Misfit
from benchrig.values.quantity import Quantity


class Share(Quantity):
    """From 0 % to 100 %."""

    __slots__ = ()
    dimension: ClassVar[str] = "ratio"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        share = super().from_source(value)
        if not 0 <= share.part <= 1:
            raise Misfit(f"a share is 0 % to 100 %, found {share}")
        return share

    @property
    def part(self) -> float:
        return float(self.to("%") / 100)


class Confidence(Share):
    """How often a method is right that says so."""

    never_empty: ClassVar[bool] = True

    __slots__ = ()
    sample: ClassVar[int] = 95

    @classmethod
    def from_source(cls, value: Any) -> Self:
        confidence = super().from_source(value)
        if not 0.5 <= confidence.part < 1:
            raise Misfit(f"expected a confidence from 50 % to below 100 %, found {confidence}", "for example: 95 %")
        return confidence
