"""`rising`: each sample of a stream above the one before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from benchrig.source.shape import Misfit
from benchrig.values.judging import RISING, BoundLimit, Check, Judgement, shown
from benchrig.values.quantity import is_number
from benchrig.values.value import Word


def for_stream(bound: Any) -> Any:
    """The limit for the samples of one stream, in their order."""
    return RisingLimit(bound) if getattr(bound, "needs_samples", False) else bound


def one_value(name: str) -> Misfit:
    """What is wrong with the limit on a reading of one value."""
    message = f"'{name}' is one value: rising needs the samples of a stream"
    return Misfit(message, "compare with a value that was saved before: above: '${before}'", ("rising",))


class RisingLimit:
    """Remembers the last sample that has a place among others; a word such as 'not known' has none, and does not rise."""

    # samples without which nothing is shown
    least = 2

    def __init__(self, bound: BoundLimit) -> None:
        self._bound = bound
        self._before: Any = None
        self._broken: BoundLimit | None = None

    def passes(self, value: Any) -> bool:
        limit = _after(self._before, self._bound)
        self._before = value if _has_place(value) else self._before
        if limit.passes(value):
            return True
        self._broken = self._broken or limit
        return False

    def judge(self, value: Any, place: str = "") -> Judgement:
        """As the first sample outside was judged; without one as the first of all."""
        return (self._broken or _after(None, self._bound)).judge(value, place)


def _has_place(value: Any) -> bool:
    return is_number(value) or (isinstance(value, str) and not isinstance(value, Word))


def _after(before: Any, bound: BoundLimit) -> BoundLimit:
    """The limit on the sample that follows this one."""
    unit = bound.unit

    def rises(got: Any) -> bool:
        return _has_place(got) and (before is None or bool(got > before))

    def explain(got: Any) -> str:
        if not _has_place(got):
            return f"{shown(got, unit)} is not above or below another sample"
        return f"{shown(got, unit)} is not above the sample before it, {shown(before, unit)}"

    checks = [check for check in bound.checks if check.words != RISING]
    return replace(bound, checks=(*checks, Check(RISING, rises, explain)))
