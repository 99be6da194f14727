"""The operator who is not there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchrig.errors import OperatorError
from benchrig.values.passkey import PASSKEY_ASKED


@dataclass(frozen=True)
class Unattended:
    """Nobody can answer: every question ends the step with cause operator. The advice names the options of whoever starts
    the run."""

    acknowledging: str = "--acknowledge"
    giving: str = "--set"

    async def acknowledge(self, caution: str) -> str:
        raise OperatorError(
            f"nobody acknowledged the caution (no terminal): {caution}",
            advice=f"run at a terminal, or add {self.acknowledging} after you have followed the caution",
        )

    async def confirm(self, question: str) -> bool:
        raise self._nobody(question)

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        if question.startswith(PASSKEY_ASKED):
            raise OperatorError(
                f"nobody answered '{question}' (no terminal)",
                advice="run it at a terminal, or write passkey: where the step says how to pair (of an access step: under levels)",
            )
        raise self._nobody(question)

    async def choose(self, question: str, options: list[str]) -> str:
        raise self._nobody(question)

    async def tell(self, text: str) -> None:
        raise OperatorError(
            "nobody is there to read the number of the pairing (no terminal)",
            advice="run it at a terminal, or write passkey:, number: or steps: in the step",
        )

    def _nobody(self, question: str) -> OperatorError:
        return OperatorError(
            f"nobody answered '{question}' (no terminal)",
            advice=f"run it at a terminal, or name a value with 'given:' in the ask step, and give it with {self.giving}",
        )
