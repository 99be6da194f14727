"""The time in which a device is not on the air: after its link has ended until it is heard again, or for good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from benchrig.radio.scan import Sighting

# For so long nobody may listen, in seconds, for the first report to be the first one.
DEAF_AT_MOST = 0.5
# So many advertising intervals of silence are no accident of the air.
MISSED = 5


@dataclass
class Absence:
    """Since a link ended at `since`. `first_at` is when the device was heard again, None for not yet; `deaf` the longest time
    before that in which nobody listened."""

    since: float
    first_at: float | None = None
    deaf: float = 0.0
    _listened_until: float = 0.0

    def __post_init__(self) -> None:
        self._listened_until = self.since

    def listened(self, started: float, ended: float, first_at: float | None) -> None:
        """Somebody has listened from then to then, and heard it or did not."""
        if self.first_at is not None:
            return
        self.deaf = max(self.deaf, started - self._listened_until)
        self._listened_until, self.first_at = ended, first_at

    @property
    def why_unknown(self) -> str:
        """Why nobody can say when the device was back; '' where it was heard at once."""
        if self.deaf <= DEAF_AT_MOST:
            return ""
        return f"nobody listened for {self.deaf:.3g} s after the link had ended, so the unit may have advertised before"


class Presence(NamedTuple):
    """What came of listening for a device for a while: it, or None for silence; `doubt` says why the silence proves
    nothing, '' where it does."""

    sighting: Sighting | None
    doubt: str = ""


def too_short(listened: float, interval: float | None) -> str:
    """Why a silence of so many seconds proves nothing of a device that advertised at this interval; '' where it does."""
    if interval is None or listened >= MISSED * interval:
        return ""
    return f"the unit advertised every {interval:.3g} s before: {listened:.3g} s without a report prove nothing"
