"""Weaknesses of a simulated device, as a device file has them: what it does not bear, and what becomes of it.

weaknesses:
  - {against: unknown opcode, does: hang}
  - {against: offset beyond the end, att_error: unlikely error}
  - {against: subscriptions, times: 20, does: reboot}
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, TypeAlias

import msgspec

from benchrig.radio.virtual.words import AttErrorCode
from benchrig.source.shape import Misfit

Against: TypeAlias = Literal[
    "long value", "value over 512 bytes", "offset beyond the end", "gap in prepared writes", "execution of nothing",
    "unknown opcode", "truncated request", "unasked response", "second request", "small MTU", "subscriptions",
    "quick connections", "unknown channel", "SMP garbage", "signalling garbage",
]  # fmt: skip
Does: TypeAlias = Literal["reboot", "hang", "freeze", "disconnect", "stop advertising", "accept", "garbage"]
# What only a request with an answer can be met with.
_ANSWERS = ("accept", "garbage")
WITHOUT_ANSWER = ("quick connections", "unknown channel", "SMP garbage", "signalling garbage")


class WeaknessSpec(msgspec.Struct, kw_only=True, frozen=True):
    """`times`: from the how manieth on; before it the device does what it should."""

    against: Against
    does: Does | None = None
    att_error: AttErrorCode | None = None
    times: int = 1

    def misfits(self) -> Iterable[Misfit]:
        if (self.does is None) == (self.att_error is None):
            yield Misfit("a weakness needs either does or att_error", "for example: does: reboot")
        if self.times < 1:
            yield Misfit(f"expected a number from 1 on, found {self.times}", path=("times",))
        key = "att_error" if self.att_error is not None else "does"
        if self.against in WITHOUT_ANSWER and (self.att_error is not None or self.does in _ANSWERS):
            yield Misfit(f"there is no ATT answer to {self.against}", "for example: does: reboot", (key,))
