"""The person at a line as a run sees them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchrig.errors import OperatorError
from benchrig.line.questions import NO, YES, Questions
from benchrig.values.passkey import PASSKEY_ASKED

# The word alone acknowledges: a label that is scanned, or a key that is pressed, by habit does not.
_ACKNOWLEDGE = (YES, NO)


@dataclass
class LineOperator:
    """Of the run in one slot. `within` gives the seconds that the step at work has for a question; `read` says who has read
    this caution before, in this shift, and `note_read` that the person has; `told` takes what is only shown. Its questions
    are about `unit`; with `scan` the label of that unit has to be scanned before each answer, since nothing tells that it is in this slot."""

    questions: Questions
    slot: str
    within: Callable[[], float]
    read_before: Callable[[str], str]
    note_read: Callable[[str], str]
    told: Callable[[str], None] = field(default=lambda text: None)
    unit: str = ""
    scan: bool = False

    async def acknowledge(self, caution: str) -> str:
        """Once a shift and person. Two runs that begin together ask once: the second finds it read when its turn is there."""
        if by := self.read_before(caution):
            return by
        answer = await self.questions.ask(
            f"CAUTION  {caution}",
            self.within(),
            self.slot,
            _ACKNOWLEDGE,
            _only_words,
            lambda: self.read_before(caution),
            self.unit,
        )
        if answer == NO:
            raise OperatorError("the caution was not acknowledged", advice=f"scan the label again, and answer {YES}")
        return self.read_before(caution) or self.note_read(caution)

    async def confirm(self, question: str) -> bool:
        return await self._asked(question, (YES, NO)) == YES

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return await self._asked(question, problem_with=problem_with)

    async def choose(self, question: str, options: list[str]) -> str:
        return await self._asked(question, options)

    async def _asked(
        self, question: str, options: Sequence[str] = (), problem_with: Callable[[str], str] | None = None
    ) -> str:
        secret = question.startswith(PASSKEY_ASKED)
        return await self.questions.ask(
            question, self.within(), self.slot, options, problem_with, unit=self.unit, scan=self.scan, secret=secret
        )

    async def tell(self, text: str) -> None:
        self.told(text)


def _only_words(text: str) -> str:
    return "" if text in _ACKNOWLEDGE else f"expected the word {YES} or {NO}, found '{text}'"
