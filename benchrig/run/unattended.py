"""The operator who is not there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchrig.errors import OperatorError
from benchrig.values.passkey import PASSKEY_ASKED


@dataclass(frozen=True)
class Unattended:
    """Nobody can answer: every question ends the step with cause operator. The advice names the options of whoever starts
    the run, and a terminal where one would help."""

    acknowledging: str = "--acknowledge"
    giving: str = "--set"
    at_terminal: bool = True

    async def acknowledge(self, caution: str) -> str:
        raise OperatorError(
            f"nobody acknowledged the caution (no terminal): {caution}",
            advice=f"{self._elsewhere}add {self.acknowledging} after you have followed the caution",
        )

    async def confirm(self, question: str) -> bool:
        raise self._nobody(question)

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        if question.startswith(PASSKEY_ASKED):
            raise OperatorError(
                f"nobody answered '{question}' (no terminal)",
                advice=f"{self._elsewhere}write passkey: where the step says how to pair (of an access step: under levels)",
            )
        raise self._nobody(question)

    async def choose(self, question: str, options: list[str]) -> str:
        raise self._nobody(question)

    async def tell(self, text: str) -> None:
        raise OperatorError(
            "nobody is there to read the number of the pairing (no terminal)",
            advice=f"{self._elsewhere}write passkey:, number: or steps: in the step",
        )

    @property
    def _elsewhere(self) -> str:
        return "run it at a terminal, or " if self.at_terminal else ""

    def _nobody(self, question: str) -> OperatorError:
        return OperatorError(
            f"nobody answered '{question}' (no terminal)",
            advice=f"{self._elsewhere}name a value with 'given:' in the ask step, and give it with {self.giving}",
        )
