"""An operator whose answers are written before the run."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fnmatch import fnmatchcase
from typing import Any, TypeAlias

from benchrig.errors import OperatorError

Answer: TypeAlias = bool | str | int | float
# Of a list each is given once. A function is asked with the question.
Prepared: TypeAlias = Answer | Sequence[Answer] | Callable[[str], Answer]


class Answers:
    """Answers the questions of a run: `Answers({"Is the LED green?": True, "Colour*": "red"})`.

    A question may be written with * and ?; the first one that matches counts. The answer to yes or no is True or False, to
    all else text or a number; a list gives one answer after the other, a function is called with the question. A question
    without an answer ends its step with cause operator, as where nobody is at the bench. With `acknowledges` a caution is
    acknowledged.

    `asked` has every question and caution so far, `told` every text that was shown, in order.
    """

    def __init__(self, answers: Mapping[str, Prepared] | None = None, *, acknowledges: bool = False) -> None:
        self._answers = {question: _own(answer) for question, answer in (answers or {}).items()}
        self._acknowledges = acknowledges
        self.asked: list[str] = []
        self.told: list[str] = []

    async def acknowledge(self, caution: str) -> str:
        """How the caution was acknowledged. OperatorError where it was not."""
        self.asked.append(caution)
        if self._acknowledges:
            return "by answers that were written before the run"
        raise OperatorError(
            f"nobody acknowledged the caution: {caution}",
            advice="do what the caution says, and run the plan with acknowledged=True",
        )

    async def confirm(self, question: str) -> bool:
        """True or False."""
        answer = self._answer(question)
        if not isinstance(answer, bool):
            raise _unfit(question, "True or False", answer)
        return answer

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        """The text; of a list the first one that is taken."""
        while problem := problem_with(text := _text(question, self._answer(question))):
            if not isinstance(self._answers.get(self._known(question)), list):
                raise OperatorError(f"the answer '{text}' to '{question}' was refused: {problem}")
        return text

    async def choose(self, question: str, options: list[str]) -> str:
        """One of the options."""
        answer = _text(question, self._answer(question))
        if answer not in options:
            raise _unfit(question, f"one of {', '.join(options)}", answer)
        return answer

    async def tell(self, text: str) -> None:
        """Notes what was shown."""
        self.told.append(text)

    def _answer(self, question: str) -> Any:
        self.asked.append(question)
        prepared = self._answers.get(self._known(question))
        if callable(prepared):
            return prepared(question)
        if isinstance(prepared, list):
            prepared = prepared.pop(0) if prepared else None
        if prepared is None:
            raise OperatorError(f"no answer was prepared for '{question}'", advice="add it to the answers of the run")
        return prepared

    def _known(self, question: str) -> str:
        """The question as it was written."""
        return next((each for each in self._answers if fnmatchcase(question, each.replace("[", "[[]"))), question)


def _own(answer: Prepared) -> Any:
    """A list is used up."""
    return [*answer] if isinstance(answer, Sequence) and not isinstance(answer, str) else answer


def _text(question: str, answer: Any) -> str:
    if isinstance(answer, bool) or not isinstance(answer, (str, int, float)):
        raise _unfit(question, "text or a number", answer)
    return str(answer)


def _unfit(question: str, expected: str, found: Any) -> OperatorError:
    return OperatorError(f"expected {expected} as the answer to '{question}', found {found!r}")
