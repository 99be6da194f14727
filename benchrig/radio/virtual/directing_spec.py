"""Whom a device of a device file advertises to, and whose requests it answers: what depends on its bonds.

advertising:
  directed: {duty: low, for: 10 s, then: undirected}    to the bench that it bonded with last; high duty ends after 1.28 s
  connections: bonded only                              it leaves the requests of others unanswered
  scan_requests: bonded only

While it has no bond it advertises to all, and answers all.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, TypeAlias

import msgspec

from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration

Answers: TypeAlias = Literal["anyone", "bonded only"]
ANYONE: Answers = "anyone"


class DirectedSpec(msgspec.Struct, kw_only=True, frozen=True):
    """`for_`: how long it does so, low duty for ever by default; `then` what it does when nobody has connected."""

    duty: Literal["low", "high"] = "low"
    for_: Duration | None = msgspec.field(name="for", default=None)
    then: Literal["undirected", "nothing"] = "undirected"

    def misfits(self) -> Iterable[Misfit]:
        if self.for_ is None:
            return
        if self.duty == "high":
            yield Misfit("high duty directed advertising ends after 1.28 s", "take 'for' out", ("for",))
        elif self.for_.seconds <= 0:
            yield Misfit("it has to take some time", "for example: 10 s", ("for",))
