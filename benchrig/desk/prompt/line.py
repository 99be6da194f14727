"""One typed line: a verb, words, and options behind them.

write alarm limit 8 °C --read-back
read "temperature/user description" --as hex
wait 2 s

Quotes keep words together and take an option's meaning from what looks like one. An option has all words up to the
next one as its value.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.errors import UsageError
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit

if TYPE_CHECKING:
    from benchrig.radio.table import Table
    from benchrig.steps.attribute import Meaning, Names

_PIECE = re.compile(r"""\s+|"([^"]*)"|'([^']*)'|[^\s"']+|.""", re.DOTALL)
# Where the value begins that stands behind a name.
_VALUE = re.compile(r"[+-]?[0-9].*|.*=.*")


class Quoted(str):
    """A word that began with a quote: it is what it is."""

    __slots__ = ()


@dataclass(frozen=True)
class TypedLine:
    """`options` maps '--for' to its value, and an option without a value to ''."""

    verb: str
    words: tuple[str, ...] = ()
    options: Mapping[str, str] = field(default_factory=dict)

    @property
    def rest(self) -> str:
        return " ".join(self.words)


def split(text: str) -> list[str]:
    """The words of a line. UsageError for a quote that is not closed."""
    words: list[str] = []
    fresh = True
    for match in _PIECE.finditer(text):
        piece = match[0]
        if piece.isspace():
            fresh = True
            continue
        if piece in ("'", '"'):
            raise UsageError(f"a quote is not closed: {piece}", advice="close it, or use the other kind around it")
        quoted = match[1] if match[1] is not None else match[2]
        if fresh:
            words.append(piece if quoted is None else Quoted(quoted))
        else:
            kind = type(words[-1])
            words[-1] = kind(words[-1] + (piece if quoted is None else quoted))
        fresh = False
    return words


def parse(words: Sequence[str], known: Mapping[str, str]) -> TypedLine:
    """Words -> a line. `known` are the options of the verb: what their value is, '' for none. UsageError."""
    verb, plain, options = words[0], list[str](), dict[str, list[str]]()
    into = plain
    for word in words[1:]:
        if word.startswith("--") and not isinstance(word, Quoted):
            _check_option(verb, word, known, options)
            options[word] = into = []
        elif into is not plain and not known[next(reversed(options))]:
            plain.append(word)
        else:
            into.append(word)
    for option, value in options.items():
        if known[option] and not value:
            raise UsageError(f"{option} needs a value", advice=f"{option} {known[option]}")
    return TypedLine(verb, tuple(plain), {option: " ".join(value) for option, value in options.items()})


def _check_option(verb: str, option: str, known: Mapping[str, str], given: Mapping[str, object]) -> None:
    if option not in known:
        listed = f"its options: {', '.join(known)}" if known else f"{verb} has no options"
        raise UsageError(f"{verb} has no option '{option}'", advice=suggest(option, known) or listed)
    if option in given:
        raise UsageError(f"{option} is given twice")


def take_name(words: Sequence[str], names: Names, table: Table | None) -> tuple[str, tuple[str, ...]]:
    """The name of an attribute at the beginning of the words, and what stands behind it: in quotes, or the longest
    name that the device has, or else the longest one that is known. Misfit when there is none."""
    if isinstance(words[0], Quoted):
        names.meaning(words[0])
        return words[0], tuple(words[1:])
    known: list[int] = []
    for count in range(_unquoted(words), 0, -1):
        try:
            meaning = names.meaning(" ".join(words[:count]))
        except Misfit:
            continue
        if table is None or _is_there(meaning, table):
            return meaning.name, tuple(words[count:])
        known.append(count)
    if known:
        return " ".join(words[: known[0]]), tuple(words[known[0] :])
    names.meaning(_likely_name(words))
    raise AssertionError("a known name was found before")


def _unquoted(words: Sequence[str]) -> int:
    return next((at for at, word in enumerate(words) if isinstance(word, Quoted)), len(words))


def _is_there(meaning: Meaning, table: Table) -> bool:
    address = meaning.address
    return bool(table.by_handle(address.handle) if address.handle is not None else table.find(address.path))


def _likely_name(words: Sequence[str]) -> str:
    """The words before anything that looks like a value, for the message about an unknown name."""
    at = next((at for at, word in enumerate(words) if at and _VALUE.fullmatch(word)), len(words))
    return " ".join(words[:at])
