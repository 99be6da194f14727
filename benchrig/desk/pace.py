"""How often something comes, told from its newest times alone."""

from __future__ import annotations

from collections import deque

KEPT_TIMES = 128
# What is older than this, in seconds, says nothing about now.
LOOK_BACK = 10.0


class Pace:
    """Keeps the newest times, at most `kept`."""

    def __init__(self, kept: int = KEPT_TIMES) -> None:
        self._times: deque[float] = deque(maxlen=kept)

    def add(self, at: float) -> None:
        self._times.append(at)

    def restart(self) -> None:
        """What comes next does not follow what came before."""
        self._times.clear()

    def copy(self) -> Pace:
        still = Pace()
        still._times = self._times.copy()
        return still

    def gap(self) -> float | None:
        """Seconds between the last two."""
        return round(self._times[-1] - self._times[-2], 6) if len(self._times) > 1 else None

    def rate(self, now: float) -> float | None:
        """How many came in a second, of late; None where fewer than two did."""
        recent = [at for at in self._times if at >= now - LOOK_BACK]
        span = recent[-1] - recent[0] if recent else 0.0
        return (len(recent) - 1) / span if span > 0 else None
