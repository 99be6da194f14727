"""References in a node tree replaced by values.

A reference that is the whole scalar keeps the kind of its value; one within text becomes text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from benchrig.source.expression import LONGEST, names_of, replace_names
from benchrig.source.problem import Problems
from benchrig.source.references import REFERENCE, as_text, references
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.values.arithmetic import worked_out
from benchrig.values.quantity import Quantity

# What one text may become, and what all texts of a file may together: a few lines of ${x}${x} would fill any memory.
MOST_CHARACTERS = 1 << 16
MOST_FILLED = 1 << 23


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


def substitute(node: Node, values: Mapping[str, Any], room: Room, *, partly: bool = False) -> Node:
    """The tree with each reference replaced. The scalars are final then: a value from outside is never read as a
    reference. Raises KeyError with the name of an unknown reference; `partly` leaves scalars with one as they are. One
    that has no result stays too, with the problem added."""

    def replaced(scalar: Scalar) -> Scalar:
        if partly and any(name not in values for name, _ in references(scalar)):
            return scalar
        defined, whole = scalar.place.source.names, _whole(scalar)

        def written(match: re.Match[str] | None, text: str) -> str | None:
            if match is None:
                return text
            return "$" if match[0] == "$$" else as_text(worked_out(match[1].strip(), defined, values))

        try:
            value = (
                room.joined(_parts(scalar.value, written), scalar)
                if whole is None
                else worked_out(whole, defined, values)
            )
        except Misfit as misfit:
            room.problems.add(scalar.place, misfit.message, misfit.advice)
            return scalar
        return Scalar(value, scalar.text, scalar.quoted or whole is not None, scalar.place, final=True)

    return _with_texts(node, replaced)


def insert(node: Node, arguments: Mapping[str, Any], room: Room) -> Node:
    """The tree with each reference to an argument replaced by what stands in the plan for it, which may be a
    reference itself; other references and `$$` stay. What is made of arguments that are known is worked out."""
    known = {name: value for name, value in arguments.items() if not (isinstance(value, str) and "$" in value)}

    def replaced(scalar: Scalar) -> Scalar:
        whole = _whole(scalar)
        if whole is not None and whole in arguments:
            return Scalar(arguments[whole], scalar.text, True, scalar.place)
        defined = scalar.place.source.names

        def written(match: re.Match[str] | None, text: str) -> str | None:
            if match is None or match[0] == "$$":
                return text
            inside = match[1].strip()
            if inside in arguments:
                return as_text(arguments[inside])
            if is_known(inside):
                return as_text(worked_out(inside, defined, known))
            return _inserted(inside, defined, arguments)

        def is_known(inside: str) -> bool:
            names = {*names_of(inside, defined)}
            return bool(names) and known.keys() >= names

        try:
            if whole is not None and is_known(whole):
                return Scalar(worked_out(whole, defined, known), scalar.text, True, scalar.place, final=True)
            text = room.joined(_parts(scalar.value, written), scalar)
        except Misfit as misfit:
            room.problems.add(scalar.place, misfit.message, misfit.advice)
            return scalar
        return Scalar(text, scalar.text, scalar.quoted, scalar.place)

    return _with_texts(node, replaced)


def _inserted(text: str, defined: frozenset[str], arguments: Mapping[str, Any]) -> str:
    """`${text}` with its arguments in the place of their names."""
    names = [name for name in names_of(text, defined) if name in arguments]
    filled = (
        replace_names(text, defined, {name: _operand_text(name, arguments[name]) for name in names}) if names else text
    )
    return "${" + filled + "}"


def _operand_text(name: str, argument: Any) -> str:
    """An argument as a part of an expression."""
    match = REFERENCE.fullmatch(argument) if isinstance(argument, str) else None
    text = match[1] if match and match[0] != "$$" else as_text(argument)
    if text is None or isinstance(argument, bool) or not _is_operand(argument, match):
        raise Misfit(f"the parameter '{name}' is not a number, a quantity or a reference, so it has no arithmetic")
    if len(text) > LONGEST:
        raise Misfit(f"the parameter '{name}' has more than {LONGEST} characters", "work it out in a compute step")
    return f"({text})"


def _is_operand(argument: Any, reference: re.Match[str] | None) -> bool:
    if reference is not None or not isinstance(argument, str):
        return True
    try:
        return bool(Quantity.from_source(argument))
    except Misfit:
        return False


def _whole(scalar: Scalar) -> str | None:
    """What is between the braces of the reference that is all of the text; None for anything else."""
    match = REFERENCE.fullmatch(scalar.value)
    return match[1].strip() if match and match[0] != "$$" else None


def _parts(text: str, written: Callable[[re.Match[str] | None, str], str | None]) -> list[str | None]:
    """What becomes of the references in a text, and of what is between them."""
    parts: list[str | None] = []
    end = 0
    for match in REFERENCE.finditer(text):
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
