"""The arithmetic within `${…}`: text -> a tree, and nothing is worked out here.

    sum      = product {("+" | "-") product}
    product  = sign {("*" | "/") sign}
    sign     = ["-"] sign | value {"[" [number] [":" [number]] "]"}
    value    = number [unit] | name | function "(" sum {"," sum} ")" | "(" sum ")"

A name that the plan defines may have blanks and signs in it (`log-level`): the longest one that fits comes first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TypeAlias

LONGEST, DEEPEST = 1000, 32
FUNCTIONS = {"min": (2, 99), "max": (2, 99), "abs": (1, 1), "round": (1, 2)}

_NUMBER = re.compile(r"[0-9]{1,40}(?:\.[0-9]{1,40})?")
_UNIT = re.compile(
    r" ?(1/min|dB SPL|[^\W\d_°µΩ][^\W\d_²³]*[²³]?(?:/[^\W\d_]+[²³]?)?|[°µΩ][^\W\d_]*(?:/m³)?|[%‰])(?![\w°%])"
)
_NAME = re.compile(r"[^\W\d]\w*")
_INDEX = re.compile(r"-?[0-9]{1,6}")
_MEANT = {"×": "*", "÷": "/", "·": "*", "−": "-", "–": "-", "^": "a product: a * a", "**": "a product: a * a",
          "//": "round(a / b)", ",": "a decimal point"}  # fmt: skip


class Unreadable(Exception):
    """A text that is no expression."""

    def __init__(self, message: str, advice: str = "") -> None:
        super().__init__(message)
        self.message, self.advice = message, advice


@dataclass(frozen=True, slots=True)
class Literal:
    number: Fraction
    unit: str


@dataclass(frozen=True, slots=True)
class Name:
    name: str


@dataclass(frozen=True, slots=True)
class Negative:
    of: Tree


@dataclass(frozen=True, slots=True)
class Operation:
    sign: str
    one: Tree
    other: Tree


@dataclass(frozen=True, slots=True)
class Function:
    name: str
    arguments: tuple[Tree, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """`of[first:last]`, or the one at `first`."""

    of: Tree
    first: int | None
    last: int | None
    single: bool

    def __str__(self) -> str:
        ends = ["" if end is None else str(end) for end in (self.first, self.last)]
        return f"[{ends[0]}]" if self.single else f"[{ends[0]}:{ends[1]}]"


Tree: TypeAlias = Literal | Name | Negative | Operation | Function | Part


@lru_cache(maxsize=4096)  # a plan says the same in many steps, and each is asked for its names more than once
def parsed(text: str, defined: AbstractSet[str] = frozenset()) -> Tree:
    """The tree of an expression; `defined` are names that are no identifiers. Unreadable when it is none."""
    text = text.strip()
    if text in defined or text.isidentifier():
        return Name(text)
    return _Parser(text, defined).whole()


@lru_cache(maxsize=4096)
def names_of(text: str, defined: AbstractSet[str] = frozenset()) -> tuple[str, ...]:
    """The names in an expression in their order; the text itself where it is none."""
    try:
        return tuple(dict.fromkeys(one.name for one in parts(parsed(text, defined)) if isinstance(one, Name)))
    except Unreadable:
        return (text.strip(),)


def parts(tree: Tree) -> Iterator[Tree]:
    """The tree and all in it, from left to right."""
    waiting = [tree]
    while waiting:
        one = waiting.pop()
        yield one
        if isinstance(one, Operation):
            waiting += (one.other, one.one)
        elif isinstance(one, Function):
            waiting += reversed(one.arguments)
        elif isinstance(one, (Negative, Part)):
            waiting.append(one.of)


def replace_names(text: str, defined: AbstractSet[str], by: Mapping[str, str]) -> str:
    """The text of an expression with other texts in the place of some names."""
    parser = _Parser(text, defined)
    parser.whole()
    for begin, end in reversed(parser.names):
        text = text[:begin] + by.get(text[begin:end], text[begin:end]) + text[end:]
    return text


class _Parser:
    def __init__(self, text: str, defined: AbstractSet[str]) -> None:
        self._text, self._at, self._depth = text, 0, 0
        # where the names are
        self.names: list[tuple[int, int]] = []
        self._defined = sorted(defined, key=len, reverse=True)

    def whole(self) -> Tree:
        if not self._text:
            raise Unreadable("${} names nothing", "write a name between the braces")
        if len(self._text) > LONGEST:
            raise Unreadable(f"an expression of more than {LONGEST} characters", "work it out in several compute steps")
        tree = self._sum()
        if self._at < len(self._text):
            raise self._unexpected("an operator")
        if not any(isinstance(one, Name) for one in parts(tree)):
            raise Unreadable(f"'{self._text}' has no name of a value in it", "write the result without ${ }")
        return tree

    def _sum(self) -> Tree:
        return self._chain("+-", self._product)

    def _product(self) -> Tree:
        return self._chain("*/", self._sign)

    def _chain(self, signs: str, operand: Callable[[], Tree]) -> Tree:
        tree = operand()
        while (sign := self._peek()) and sign in signs and self._text[self._at : self._at + 2] not in ("**", "//"):
            self._at += 1
            tree = Operation(sign, tree, operand())
        return tree

    def _sign(self) -> Tree:
        self._depth += 1
        if self._depth > DEEPEST:
            raise Unreadable(f"brackets and signs deeper than {DEEPEST}", "work it out in several compute steps")
        tree = Negative(self._sign()) if self._take("-") else self._parts_of(self._value())
        self._depth -= 1
        return tree

    def _value(self) -> Tree:
        if self._take("("):
            return self._closed(self._sum())
        if name := self._defined_here():
            return self._named(name)
        if match := self._match(_NUMBER):
            unit = _UNIT.match(self._text, self._at)
            self._at = unit.end() if unit else self._at
            return Literal(Fraction(match), unit[1] if unit else "")
        if match := self._match(_NAME):
            named = match not in FUNCTIONS or self._text[self._at :].lstrip()[:1] != "("
            return self._named(match) if named else self._function(match)
        raise self._unexpected("a name or a number")

    def _named(self, name: str) -> Name:
        self.names.append((self._at - len(name), self._at))
        return Name(name)

    def _function(self, name: str) -> Tree:
        self._take("(")
        arguments = [self._sum()]
        while self._take(","):
            arguments.append(self._sum())
        least, most = FUNCTIONS[name]
        if not least <= len(arguments) <= most:
            count = f"{least} values" if least == most else f"{least} to {most} values"
            raise Unreadable(f"{name} takes {count}, not {len(arguments)}".replace("1 values", "one value"))
        digits = arguments[1:] if name == "round" else []
        if any(not isinstance(one, Literal) or one.unit or one.number not in range(16) for one in digits):
            raise Unreadable("the digits of round are a number from 0 to 15", "for example: round(a, 2)")
        self._closed(arguments[0])
        return Function(name, tuple(arguments))

    def _parts_of(self, tree: Tree) -> Tree:
        while self._take("["):
            first = self._match(_INDEX)
            single = not self._take(":")
            last = None if single else self._match(_INDEX)
            if (single and not first) or not self._take("]"):
                raise self._unexpected("a part such as [3] or [0:4]")
            tree = Part(tree, int(first) if first else None, int(last) if last else None, single)
            if first and last and (first[0] == "-") == (last[0] == "-") and int(first) > int(last):
                raise Unreadable(f"the part {tree} ends before it begins", f"write [{last}:{first}]")
        return tree

    def _closed(self, tree: Tree) -> Tree:
        if not self._take(")"):
            raise self._unexpected("a closing bracket")
        return tree

    # --- the text

    def _peek(self) -> str:
        while self._text[self._at : self._at + 1].isspace():
            self._at += 1
        return self._text[self._at : self._at + 1]

    def _take(self, sign: str) -> bool:
        there = self._peek() == sign
        self._at += there
        return there

    def _match(self, pattern: re.Pattern[str]) -> str:
        self._peek()
        match = pattern.match(self._text, self._at)
        self._at = match.end() if match else self._at
        return match[0] if match else ""

    def _defined_here(self) -> str:
        self._peek()
        for name in self._defined:
            after = self._text[self._at + len(name) : self._at + len(name) + 1]
            if self._text.startswith(name, self._at) and not (after.isalnum() or after == "_"):
                self._at += len(name)
                return name
        return ""

    def _unexpected(self, expected: str) -> Unreadable:
        rest = self._text[self._at :].strip()
        found = rest[:2] if rest[:2] in _MEANT else rest[:1]
        shown = f"'{rest[:20]}'" if rest else "the end"
        advice = f"write {_MEANT[found]}" if found in _MEANT else "write names, numbers, + - * / and brackets"
        return Unreadable(f"expected {expected} in '{self._text[:80]}', found {shown}", advice)
