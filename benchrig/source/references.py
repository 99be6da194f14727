"""`${name}` in a node tree: found, and replaced by values.

A reference that is the whole scalar keeps the kind of its value; one within text becomes text. `$$` is a `$`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchrig.source.problem import Problems
from benchrig.source.writing import decimal_text
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence

# What one text may become, and what all texts of a file may together: a few lines of ${x}${x} would fill any memory.
MOST_CHARACTERS = 1 << 16
MOST_FILLED = 1 << 23

_REFERENCE = re.compile(r"\$\$|\$\{([^{}]*)\}")


class Room:
    """How much text may still be made of references; what does not fit goes to the problems."""

    def __init__(self, problems: Problems, left: int = MOST_FILLED) -> None:
        self.problems = problems
        self.left = left

    def joined(self, parts: list[str | None], scalar: Scalar) -> str:
        """One text; '' with the problem added where a part is no text or there is no room."""
        texts = [part for part in parts if part is not None]
        size = sum(map(len, texts))
        self.left -= size
        if len(texts) < len(parts):
            self.problems.add(
                scalar.place, "a list, a structure or nothing cannot be put into text", "use a single value"
            )
        elif size > MOST_CHARACTERS or self.left < 0:
            most = f"{MOST_CHARACTERS // 1024} KiB" if size > MOST_CHARACTERS else f"{MOST_FILLED >> 20} MiB in all"
            self.problems.add(scalar.place, f"with its values filled in this text has more than {most}", "shorten it")
        else:
            return "".join(texts)
        return ""


def as_text(value: Any) -> str | None:
    """A value within text: a number as a plan would write it, bytes as hex text; None for what is no text."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (bytes, bytearray)):
        return value.hex(" ").upper()
    if isinstance(value, (int, float, Decimal, Fraction)):
        return decimal_text(value) or str(value)
    if value is None or isinstance(value, (list, tuple, dict)):
        return None
    written = getattr(value, "written", value)  # a quantity to its last digit
    return str(written)


def references(node: Node) -> Iterator[tuple[str, Scalar]]:
    """Every `${name}` in the values (not the keys) of the tree, with the scalar it stands in; none in final scalars."""
    for scalar in _marked(node):
        for match in _REFERENCE.finditer(scalar.value):
            if match[0] != "$$":
                yield match[1].strip(), scalar


def is_marked(node: Node) -> bool:
    """Whether `substitute` may change it: a text in it has a `$`."""
    return next(_marked(node), None) is not None


def _marked(node: Node) -> Iterator[Scalar]:
    waiting = [node]  # a stack of its own: nested generators would cost a quarter of the time of a check
    while waiting:
        node = waiting.pop()
        if isinstance(node, MappingNode):
            waiting += [value for _, value in reversed(node.entries.values())]
        elif isinstance(node, Sequence):
            waiting += reversed(node.items)
        elif isinstance(node.value, str) and "$" in node.value and not node.final:
            yield node


def has_reference(node: Node) -> bool:
    if isinstance(node, Scalar) and not (isinstance(node.value, str) and "$" in node.value):
        return False  # most nodes are such: no generator for them
    return next(references(node), None) is not None


def substitute(node: Node, values: Mapping[str, Any], room: Room, *, partly: bool = False) -> Node:
    """The tree with each reference replaced. The scalars are final then: a value from outside is never read as a
    reference. Raises KeyError with the name of an unknown reference; `partly` leaves scalars with one as they are."""

    def written(match: re.Match[str] | None, text: str) -> str | None:
        if match is None:
            return text
        return "$" if match[0] == "$$" else as_text(values[match[1].strip()])

    def replaced(scalar: Scalar) -> Scalar:
        if partly and any(name not in values for name, _ in references(scalar)):
            return scalar
        whole = _whole(scalar)
        value = values[whole] if whole is not None else room.joined(_parts(scalar.value, written), scalar)
        return Scalar(value, scalar.text, scalar.quoted or whole is not None, scalar.place, final=True)

    return _with_texts(node, replaced)


def insert(node: Node, arguments: Mapping[str, Any], room: Room) -> Node:
    """The tree with each reference to an argument replaced by what stands in the plan for it, which may be a
    reference itself; other references and `$$` stay."""

    def written(match: re.Match[str] | None, text: str) -> str | None:
        known = match is not None and match[0] != "$$" and match[1].strip() in arguments
        return as_text(arguments[match[1].strip()]) if match and known else text

    def replaced(scalar: Scalar) -> Scalar:
        whole = _whole(scalar)
        if whole is not None and whole in arguments:
            return Scalar(arguments[whole], scalar.text, True, scalar.place)
        return Scalar(room.joined(_parts(scalar.value, written), scalar), scalar.text, scalar.quoted, scalar.place)

    return _with_texts(node, replaced)


def _whole(scalar: Scalar) -> str | None:
    """The name of the reference that is all of the text; None for anything else."""
    match = _REFERENCE.fullmatch(scalar.value)
    return match[1].strip() if match and match[0] != "$$" else None


def _parts(text: str, written: Callable[[re.Match[str] | None, str], str | None]) -> list[str | None]:
    """What becomes of the references in a text, and of what is between them."""
    parts: list[str | None] = []
    end = 0
    for match in _REFERENCE.finditer(text):
        parts += [written(None, text[end : match.start()]), written(match, match[0])]
        end = match.end()
    return [*parts, written(None, text[end:])]


def _with_texts(node: Node, replaced: Callable[[Scalar], Scalar]) -> Node:
    """The tree with every scalar that may hold a reference replaced."""
    if isinstance(node, MappingNode):
        entries = {k: (key, _with_texts(value, replaced)) for k, (key, value) in node.entries.items()}
        return MappingNode(entries, node.place)
    if isinstance(node, Sequence):
        return Sequence([_with_texts(item, replaced) for item in node.items], node.place)
    if node.final or not isinstance(node.value, str) or "$" not in node.value:
        return node
    return replaced(node)
