"""A mistake in a text file: where, what, what to do."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from benchrig.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

SHOWN_WIDTH = 120
# numbers of a pairing in a line that is shown
_NUMBERS = re.compile(r"""(\b(?:passkey|number)\s*:\s*["']?)([0-9]+)""")
_LINE_END = re.compile(r"\r\n|\r|\n")


class Source:
    """The text of one file, kept to show the line a problem stands in."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.text = text
        # names of values that it may use and that are no identifiers: 'log-level' is one, and no difference
        self.names: frozenset[str] = frozenset()
        self._lines: list[str] | None = None

    def line(self, number: int) -> str:
        """Line `number` (from 1) without its end, '' past the end."""
        if self._lines is None:
            self._lines = _LINE_END.split(self.text)
        return self._lines[number - 1] if 0 < number <= len(self._lines) else ""


class Place(NamedTuple):
    """A position in a file: line and column count from 1, columns in characters."""

    source: Source
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.source.name}:{self.line}:{self.column}"


NOWHERE = Place(Source("<command line>", ""), 1, 1)


@dataclass(frozen=True)
class Problem:
    """One mistake. `message` says what is wrong and what was expected, `advice` what to write instead."""

    place: Place
    message: str
    advice: str = ""

    def __str__(self) -> str:
        advice = [f"  {printable(self.advice)}"] if self.advice else []
        return "\n".join([printable(f"{self.place}: {self.message}"), *self._excerpt(), *advice])

    def _excerpt(self) -> list[str]:
        """The line and a caret below the place; of a long line the part around it."""
        text = self.place.source.line(self.place.line)
        # no more of a long line than can be shown: a file on one line with many mistakes would take its square
        first = max(0, self.place.column - 1 - SHOWN_WIDTH)
        text, column = text[first : first + 3 * SHOWN_WIDTH], self.place.column - 1 - first
        text = without_numbers(text)
        line = printable(text)
        if not line.strip():
            return []
        before = len(printable(text[:column]))
        start = max(0, before + 1 - SHOWN_WIDTH // 2) if len(line) > SHOWN_WIDTH else 0
        number = f"{self.place.line:>5}"
        shown = line[start : start + SHOWN_WIDTH]
        pointer = " " * (before - start) + "^"
        return [f"{number} | {shown}", f"{' ' * len(number)} | {pointer}"]


def without_numbers(line: str) -> str:
    """The line as long as it was, without the digits that two devices pair with."""
    return _NUMBERS.sub(lambda found: found[1] + "*" * len(found[2]), line)


@dataclass
class Problems:
    """The mistakes found so far in one or more files. A place that is `settled` gets no more of them: what follows
    from the first one helps nobody. `mistakes` counts these too: what has one is wrong, whether it is told or not."""

    found: list[Problem] = field(default_factory=list)
    settled: set[Place] = field(default_factory=set)
    mistakes: int = 0

    def add(self, place: Place, message: str, advice: str = "") -> None:
        self.mistakes += 1
        if place not in self.settled:
            self.found.append(Problem(place, message, advice))

    def add_all(self, others: Problems) -> None:
        """The problems of another reading, as if they had been found here."""
        self.mistakes += others.mistakes
        self.found += [problem for problem in others.found if problem.place not in self.settled]
        self.settled |= others.settled

    def settle(self) -> None:
        """Add no more problems at the places that have one."""
        self.settled |= {problem.place for problem in self.found}

    def raise_if_any(self) -> None:
        """Raise PlanError with all problems."""
        if self.found:
            raise PlanError(self.in_order())

    def in_order(self) -> list[Problem]:
        """All problems in the order of the text, each once."""
        unique = dict.fromkeys(self.found)
        return sorted(unique, key=lambda p: (p.place.source.name, p.place.line, p.place.column))


def counted(count: int, noun: str, several: str = "") -> str:
    """'1 value', '2 values'; `several` is the word for them that no 's' makes."""
    return f"{count} {noun if count == 1 else several or f'{noun}s'}"


def printable(text: str) -> str:
    """The text with every character that could steer a terminal shown as an escape."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def suggest(word: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known words, or lists them when there are few; '' when neither helps."""
    words = sorted(set(known))
    told = map(repr, words) if any("," in each for each in words) else words
    return meant(close(word, words)) or ("choose one of: " + ", ".join(told) if 0 < len(words) <= 24 else "")


def close(word: str, known: Iterable[str], likeness: float = 0.6) -> list[str]:
    """Up to three known words that may have been meant, the nearest first. `likeness` is from 0, all words, to 1."""
    words = sorted(set(known))
    same = [each for each in words if each.lower() == word.lower()]
    return same or difflib.get_close_matches(word, words, n=3, cutoff=likeness)


def meant(words: Sequence[str]) -> str:
    """A sentence that offers these words, '' without any."""
    return f"did you mean {_either(words)}?" if words else ""


def _either(words: Sequence[str]) -> str:
    """'a', 'b' or 'c'"""
    *first, last = map(repr, words)
    return f"{', '.join(first)} or {last}" if first else last
