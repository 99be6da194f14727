"""Programs of the station that are told of a verdict: a lamp, a label printer, a controller of the line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import msgspec

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration

WORDS = ("verdict", "serial", "slot", "record", "product", "cause", "step")
_WORD = re.compile(r"\{([^{}]*)\}")


class Told(msgspec.Struct, omit_defaults=True, frozen=True):
    """A program with its arguments, run without a shell; '{verdict}' and such are replaced. `within` so many seconds."""

    command: list[str]
    within: Duration = Duration.of(10)

    def misfits(self) -> Iterable[Misfit]:
        if not self.command or not self.command[0]:
            yield Misfit("a command needs a program", "for example: [lamp, '{verdict}']", ("command",))
        for index, text in enumerate(self.command):
            yield from unknown_words(text, WORDS, ("command", index))

        if self.within.seconds <= 0:
            yield Misfit("expected a time above 0", "for example: 10 s", ("within",))

    def words(self, values: Mapping[str, str]) -> tuple[str, ...]:
        """The program with its arguments, for one unit."""
        return tuple(with_words(text, values) for text in self.command)


def with_words(text: str, values: Mapping[str, str]) -> str:
    """The text with the values of its words in their places."""
    return _WORD.sub(lambda found: values.get(found[1], ""), text)


def words_in(text: str) -> list[str]:
    return _WORD.findall(text)


def unknown_words(text: str, known: Iterable[str], path: tuple[str | int, ...]) -> Iterable[Misfit]:
    listed = [*known]
    for word in words_in(text):
        if word not in listed:
            advice = suggest(word, listed) or f"one of {', '.join(listed)}"
            yield Misfit(f"expected a word that is known here, found '{{{word}}}'", advice, path)
