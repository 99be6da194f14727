"""`${…}` in a node tree: found, with the names of values in it.

What is between the braces is a name, or arithmetic (expression.py). `$$` is a `$`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchrig.source.expression import names_of
from benchrig.source.writing import decimal_text
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence

REFERENCE = re.compile(r"\$\$|\$\{([^{}]*)\}")


def as_text(value: Any) -> str | None:
    """A value within text: a number as a plan would write it, bytes as hex text; None for what is no text."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (bytes, bytearray)):
        return value.hex(" ").upper()
    if isinstance(value, (int, float, Decimal, Fraction)):
        return decimal_text(value) or str(float(value) if isinstance(value, Fraction) else value)
    if value is None or isinstance(value, (list, tuple, dict)):
        return None
    written = getattr(value, "written", value)  # a quantity to its last digit
    return str(written)


def references(node: Node) -> Iterator[tuple[str, Scalar]]:
    """Every name of a value in the values (not the keys) of the tree, with the scalar it stands in; none in final
    scalars. What is no expression is told under its whole text."""
    for text, scalar in expressions(node):
        for name in names_of(text, scalar.place.source.names):
            yield name, scalar


def expressions(node: Node) -> Iterator[tuple[str, Scalar]]:
    """What is between the braces of every `${…}` in the values, with the scalar it stands in."""
    for scalar in _marked(node):
        for match in REFERENCE.finditer(scalar.value):
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
