"""What a draft proposes for one reading, and how it came to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Proposal:
    """A limit as the plan writes it, None where none can be given; `reason` becomes a comment. A `guess` rests on
    one unit, or on less than statistics need."""

    limit: dict[str, Any] | None
    reason: str
    guess: bool = False

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


def counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
