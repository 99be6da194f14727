"""Changes of a plan file as it is written: its comments and its order stay. What comes out is read again and compared with
what was meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchrig.errors import UsageError
from benchrig.plan.writing import StepText, comments, value
from benchrig.source.nodes import as_written, locate
from benchrig.source.problem import Place, Problems
from benchrig.source.writing import scalar
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, read_bytes
from benchrig.source.yaml import Sequence as ListNode

# Where something stands in a plan: keys and indexes.
Path_ = tuple[str | int, ...]
# What brackets are looked for in: a text in quotes is one token, and so is a comment.
_TOKEN = re.compile(r"""'(?:[^']|'')*'|"(?:[^"\\]|\\.)*"|(?<=\s)#[^\r\n]*|[^\s]""", re.DOTALL)
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|$)")


@dataclass(frozen=True)
class Holding:
    """More limits of a step, each with why."""

    step: Path_
    limits: Mapping[str, Any]
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Setting:
    """One more key of a step, or of a mapping in it; an older value of the key is replaced where it is on one line."""

    step: Path_
    key: str
    value: Any


@dataclass(frozen=True)
class Inserting:
    """Steps after this one of a list."""

    after: Path_
    steps: Sequence[StepText]


Edit = Holding | Setting | Inserting


@dataclass(frozen=True)
class Edited:
    """The new text; `lines` are the first and the last line of what each edit has inserted, from 1."""

    text: str
    lines: list[tuple[int, int]]


class Unfit(UsageError):
    """The plan is written in a way that these changes of its text do not know."""


def root_of(text: str, name: str) -> MappingNode:
    """The tree of a plan that was read before."""
    node = read_bytes(text.encode(), name, Problems())
    assert isinstance(node, MappingNode), "the plan was read before"
    return node


def path_of(root: Node, place: Place) -> Path_ | None:
    """The way to the mapping that begins at a place; None where there is none in this file."""
    if place.source.name != root.place.source.name:
        return None
    return next((path for path, node in _mappings(root) if node.place[1:] == place[1:]), None)


def _mappings(node: Node, path: Path_ = ()) -> Iterator[tuple[Path_, MappingNode]]:
    if isinstance(node, MappingNode):
        yield path, node
        for key, (_, part) in node.entries.items():
            yield from _mappings(part, (*path, key))
    elif isinstance(node, ListNode):
        for index, part in enumerate(node.items):
            yield from _mappings(part, (*path, index))


def edited(path: Path, text: str, edits: Sequence[Edit]) -> Edited:
    """The plan with the edits. Unfit where its way of writing does not allow them."""
    root = root_of(text, str(path))
    lines = _Lines(text)
    pieces = [(_piece(edit, root, lines), number) for number, edit in enumerate(edits)]
    pieces.sort(key=lambda item: (item[0].at, *_inside_first(edits[item[1]]), item[1]))
    made, places = _joined(text, pieces)
    meant = as_written(root)
    backwards = [*reversed(edits)]  # the later of two at one place is put there first
    for edit in sorted(backwards, key=_last_first):
        _change(meant, edit, str(path))
    found = read_bytes(made.encode(), str(path), Problems())
    if found is None or as_written(found) != meant:
        raise Unfit(f"{path.name} is written in a way that no program can change", advice="write it by hand")
    return Edited(made, [places[number] for number in range(len(edits))])


@dataclass(frozen=True)
class _Piece:
    """What is put in at a character of the text, in place of `gone` characters."""

    at: int
    text: str
    gone: int = 0


def _inside_first(edit: Edit) -> tuple[int, bool]:
    """Of edits at one place: what is in a step comes before what is of the step, and that before what follows it."""
    depth = len(edit.after) if isinstance(edit, Inserting) else len(edit.step) + isinstance(edit, Holding)
    return -depth, isinstance(edit, Inserting)


def _joined(text: str, pieces: Iterable[tuple[_Piece, int]]) -> tuple[str, dict[int, tuple[int, int]]]:
    """The text with the pieces, and the lines of each by its number."""
    made, done, line, places = list[str](), 0, 1, dict[int, tuple[int, int]]()
    for piece, number in pieces:
        between = text[done : piece.at]
        line += between.count("\n")
        first = line
        line += piece.text.count("\n")
        places[number] = (first, max(first, line - piece.text.endswith("\n")))
        made += [between, piece.text]
        done = piece.at + piece.gone
    return "".join([*made, text[done:]]), places


class _Lines:
    """Where the lines of a text begin."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.lines = [found.group() for found in _LINE.finditer(text)]
        self.starts = [found.start() for found in _LINE.finditer(text)]

    def offset(self, place: Place) -> int:
        return self.starts[place.line - 1] + place.column - 1

    def end_of_block(self, place: Place) -> int:
        """The end of the last line of what begins at a place, by its indent; what is within brackets by these."""
        if self.text[self.offset(place)] in "{[":
            return self._line_end(_closing(self.text, self.offset(place)))
        last = place.line - 1
        for number in range(place.line, len(self.lines)):
            body = self.lines[number].strip()
            if body and not body.startswith("#"):
                if len(self.lines[number]) - len(self.lines[number].lstrip(" ")) < place.column - 1:
                    break
                last = number
        return self.starts[last] + len(self.lines[last])

    def _line_end(self, at: int) -> int:
        number = next(number for number in range(len(self.starts) - 1, -1, -1) if self.starts[number] <= at)
        return self.starts[number] + len(self.lines[number])

    def dash_of(self, place: Place) -> int:
        """The column, from 0, of the dash before an item of a list."""
        before = self.lines[place.line - 1][: place.column - 1]
        if before.strip() != "-":
            raise Unfit("a list of steps is written within brackets", advice="write a line with '- ' for each step")
        return before.index("-")


def _closing(text: str, at: int) -> int:
    """Where the bracket at a place is closed."""
    depth, before = 0, ""
    while found := _TOKEN.search(text, at):
        token, at = found.group(), found.end()
        if token[0] in "'\"" and before not in ("{", "[", ",", ":"):
            at = found.start() + 1  # within a word
        elif token in ("{", "["):
            depth += 1
        elif token in ("}", "]"):
            depth -= 1
            if not depth:
                return found.start()
        before = token
    raise Unfit("a bracket is not closed where it can be found")


def _piece(edit: Edit, root: MappingNode, lines: _Lines) -> _Piece:
    if isinstance(edit, Inserting):
        return _inserted(edit, root, lines)
    step = _mapping(root, edit.step)
    if isinstance(edit, Setting):
        return _set(edit, step, lines)
    held = step.get("expect")
    if held is None:
        return _entry(step, "expect", _held(edit.limits, edit.reasons, step.place.column + 1), edit.limits, lines)
    if not isinstance(held, MappingNode):
        raise Unfit("the limits of a step are not written one by one")
    at = lines.offset(held.place)
    if lines.text[at] == "{":
        return _within(at, edit.limits, lines, empty=not held.entries)
    rows = _held(edit.limits, edit.reasons, held.place.column - 1)
    return _Piece(*_own_lines(lines, lines.end_of_block(held.place), rows))


def _mapping(root: MappingNode, path: Path_) -> MappingNode:
    node = locate(root, path)
    assert isinstance(node, MappingNode), f"no step at {path}"
    return node


def _held(limits: Mapping[str, Any], reasons: Mapping[str, str], indent: int) -> list[str]:
    rows = list[str]()
    for reading, limit in limits.items():
        rows += comments([reasons[reading]] if reading in reasons else [], indent)
        rows.append(" " * indent + f"{scalar(reading)}: {value(limit)}")
    return rows


def _entry(step: MappingNode, key: str, rows: Sequence[str], data: Any, lines: _Lines) -> _Piece:
    """One more key of a step, with lines below it."""
    at = lines.offset(step.place)
    if lines.text[at] == "{":
        return _within(at, {key: data}, lines, empty=False)
    pad = " " * (step.place.column - 1)
    return _Piece(*_own_lines(lines, lines.end_of_block(step.place), [f"{pad}{key}:", *rows]))


def _set(edit: Setting, step: MappingNode, lines: _Lines) -> _Piece:
    old = step.get(edit.key)
    if old is None:
        at, pad = lines.offset(step.place), " " * (step.place.column - 1)
        if lines.text[at] == "{":
            return _within(at, {edit.key: edit.value}, lines, empty=not step.entries)
        steps = None if edit.step else step.entries.get("steps")  # the head of a plan comes before its steps
        end = lines.end_of_block(step.place) if steps is None else lines.offset(steps[0].place)
        return _Piece(*_own_lines(lines, end, [f"{pad}{scalar(edit.key)}: {value(edit.value)}"]))
    at = lines.offset(old.place)
    if isinstance(old, (MappingNode, ListNode)):
        if lines.text[at] not in "{[":
            raise Unfit(f"'{edit.key}' is written over several lines")
        return _Piece(at, value(edit.value), _closing(lines.text, at) + 1 - at)
    written = re.match(r"'(?:[^']|'')*'|\"(?:[^\"\\]|\\.)*\"|[^\r\n#,}]*[^\s#,}]", lines.text[at:])
    if written is None:
        raise Unfit(f"'{edit.key}' has nothing behind it")
    return _Piece(at, value(edit.value), written.end())


def _within(at: int, entries: Mapping[str, Any], lines: _Lines, *, empty: bool) -> _Piece:
    """Entries before the closing bracket of a mapping that begins at a character."""
    end = _closing(lines.text, at)
    end = at + len(lines.text[at:end].rstrip())
    written = ", ".join(f"{scalar(key)}: {value(item)}" for key, item in entries.items())
    return _Piece(end, written if empty else f", {written}")


def _inserted(edit: Inserting, root: MappingNode, lines: _Lines) -> _Piece:
    before = locate(root, edit.after)
    indent = lines.dash_of(before.place)
    rows = [row for step in edit.steps for row in step.lines(indent)]
    return _Piece(*_own_lines(lines, lines.end_of_block(before.place), rows))


def _own_lines(lines: _Lines, at: int, rows: Iterable[str]) -> tuple[int, str]:
    """Lines behind a character at which a line ends, which the last one of a file need not do."""
    end = "\r\n" if "\r\n" in lines.text else "\n"
    text = "".join(f"{row}{end}" for row in rows)
    return at, text if at == 0 or lines.text[at - 1] in "\r\n" else end + text


# --- what is meant


def _last_first(edit: Edit) -> tuple[bool, list[tuple[int, int | str]]]:
    """Paths hold as long as nothing before them in their list has changed."""
    if isinstance(edit, Inserting):
        return True, [(0, -part) if isinstance(part, int) else (1, part) for part in edit.after]
    return False, []


def _change(data: Any, edit: Edit, name: str) -> None:
    if isinstance(edit, Inserting):
        *way, index = edit.after
        listed = _part(data, tuple(way))
        assert isinstance(index, int)
        written = "\n".join(row for step in edit.steps for row in step.lines(0))
        listed[index + 1 : index + 1] = as_written(_read(written, name))
    elif isinstance(edit, Setting):
        _part(data, edit.step)[edit.key] = as_written(_read(value(edit.value), name))
    else:
        held = _part(data, edit.step).setdefault("expect", {})
        held |= {reading: as_written(_read(value(limit), name)) for reading, limit in edit.limits.items()}


def _part(data: Any, path: Path_) -> Any:
    for key in path:
        data = data[key]
    return data


def _read(text: str, name: str) -> Node:
    node = read_bytes(text.encode(), name, Problems())
    assert node is not None
    return deepcopy(node)
