"""A limit that is proposed for one reading, and how it came about."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

# A single unit says nothing about others of its kind.
ENOUGH_UNITS = 2


@dataclass(frozen=True)
class Grounds:
    """What a limit rests on: the `units` that were seen, and whether their values show it. Not shown is a width that
    was chosen because the values did not move, or not often enough, and a meaning that they only may have."""

    units: int
    shown: bool = True

    @property
    def is_guess(self) -> bool:
        """The one place that decides this for every limit."""
        return self.units < ENOUGH_UNITS or not self.shown


# What a format allows needs no unit to show it.
BY_FORMAT = Grounds(ENOUGH_UNITS)


@dataclass(frozen=True)
class Proposal:
    """A limit as the plan writes it, None where none can be given; `reason` becomes a comment."""

    limit: dict[str, Any] | None
    reason: str
    grounds: Grounds = field(default=BY_FORMAT)

    @property
    def guess(self) -> bool:
        return self.limit is not None and self.grounds.is_guess

    @property
    def sentence(self) -> str:
        return f"guess: {self.reason}" if self.guess else self.reason


@dataclass(frozen=True)
class Basis:
    """What limits are made for: the share of good values that they let through (`coverage`), how sure that is
    (`confidence`), and how many values are judged together (`together`): of a stream all of them must pass."""

    coverage: float = 0.99
    confidence: float = 0.95
    together: int = 1

    @property
    def share(self) -> float:
        """The coverage that each single value needs."""
        return 1 - (1 - self.coverage) / self.together

    def words(self) -> str:
        together = f" in a stream of {self.together}" if self.together > 1 else ""
        return f"{100 * self.coverage:g} % of good values{together}, {100 * self.confidence:g} % confidence"
