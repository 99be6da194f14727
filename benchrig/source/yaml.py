"""The strict subset of YAML that benchrig reads: one pass over the parser's events, places kept, no surprises.

Unquoted scalars are null, true, false, decimal numbers, 0x numbers, and text that no YAML version takes for
anything else. What YAML 1.1 or 1.2 tools would read differently (`no`, `00123`, `12:30`, `1e5`, dates) is refused.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

import yaml

from benchrig.source.problem import Place, Problems, Source, close, meant, printable

MAX_BYTES = 1 << 20
MAX_DEPTH = 32

_LOADER = getattr(yaml, "CLoader", yaml.Loader)
_NUMBER = re.compile(r"[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?")
_HEX = re.compile(r"0x[0-9A-Fa-f]+")
_WORDS: dict[str, bool | None] = {"": None, "null": None, "true": True, "false": False}
_SUSPECT = frozenset("0123456789+-.~<=yYnNoOtTfF")
_DECIMAL_COMMA = re.compile("[0-9],[0-9]")
_LONGEST_NUMBER = 60
# Of the files in a folder these many are looked at for one with a similar name.
_MOST_BESIDE = 1000
_YAML = frozenset({".yaml", ".yml"})
# YAML 1.1 ends lines here too, YAML 1.2 does not.
_ODD_LINE_END = re.compile("[\x85\u2028\u2029]")

# Nothing repeats such a number, or one that was mistyped.
_MAY_BE_PASSKEY = re.compile(r"0[0-9]{4,}")

# What other readers of YAML make of it, and what to write instead; {0} stands for the text.
_REFUSED: tuple[tuple[re.Pattern[str], str, str], ...] = tuple(
    (re.compile(pattern), what, advice)
    for pattern, what, advice in (
        (
            r"(?i:yes|no|on|off|y|n)",
            "is true or false to some readers of YAML",
            "quote it if it is text: '{0}'; write true or false if it is not",
        ),
        (
            r"True|TRUE|False|FALSE",
            "is not how true and false are written",
            "write it in small letters, or quote it if it is text",
        ),
        (r"~|Null|NULL", "is not how null is written", "write null, or quote it if it is text"),
        (
            r"[+-]?0[0-9]+(\.[0-9]*)?",
            "has leading zeros",
            "quote it: '{0}', or drop the zeros if it is a number",
        ),
        (
            r"[+-]?0[oObBX].*|[+-]0x[0-9A-Fa-f_]+",
            "is not a number here",
            "write a decimal or 0x… number, or quote it if it is text",
        ),
        (
            r"[+-]?([0-9][0-9_]*(\.[0-9_]*)?|\.[0-9][0-9_]*)[eE][+-]?[0-9]+",
            "looks like a number with an exponent",
            "quote it if it is text (a UUID: '{0}' or 0x{0}), or write the number out",
        ),
        (
            r"[+-]?[0-9][0-9_]*(:[0-9]{1,2})+(\.[0-9]*)?",
            "is a number in base 60 to some readers of YAML",
            "quote it if it is text, or write a time with its unit, for example 750 s",
        ),
        (r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}([Tt ].*)?", "is a date to some readers of YAML", "quote it"),
        (
            r"0x[0-9A-Fa-f]*_[0-9A-Fa-f_]*|[+-]?(?=\.?[0-9])[0-9.]*_[0-9_.]*",
            "has an underscore in a number",
            "write the digits only",
        ),
        (r"[+-]?(\.[0-9]+|[0-9]+\.)", "is not a complete decimal number", "write digits on both sides of the point"),
        (r"[+-]?\.(inf|Inf|INF|nan|NaN|NAN)", "is not a decimal number", "quote it if it is text"),
        (
            rf"(?=.{{{_LONGEST_NUMBER}}})(0x[0-9A-Fa-f]+|[+-]?[0-9.]+)",
            "is too long for a number",
            "quote it if it is text",
        ),
        (r"=", "is not text to some readers of YAML", "quote it"),
        (r"<<", "would merge another mapping in some readers of YAML", "write the keys out"),
    )
)

Plain: TypeAlias = bool | int | Decimal | str | None


@dataclass(slots=True)
class Scalar:
    """A single value. `value` is what it means, `text` what was written, `quoted` whether it was written as text.

    `value` is a Plain when it comes from a file; a substituted reference may put any value here, and then the scalar
    is `final`: a `$` in it is only a `$`.
    """

    value: Any
    text: str
    quoted: bool
    place: Place
    final: bool = False


@dataclass(slots=True)
class Mapping:
    """Keys in their order; `entries` maps the key's value to its scalar and the node behind it."""

    entries: dict[Any, tuple[Scalar, Node]]
    place: Place

    def get(self, key: str) -> Node | None:
        entry = self.entries.get(key)
        return entry[1] if entry else None


@dataclass(slots=True)
class Sequence:
    items: list[Node]
    place: Place


Node: TypeAlias = Scalar | Mapping | Sequence


def read_file(path: Path, problems: Problems, name: str | None = None, least: str = "") -> Node | None:
    """Read one file; None, with the problems added, when it cannot be read or is no YAML at all. `least` says what such
    a file needs."""
    shown = name or str(path)
    data = file_bytes(path, problems, shown)
    return None if data is None else read_bytes(data, shown, problems, least)


def file_bytes(path: Path, problems: Problems, name: str, asked: Scalar | None = None) -> bytes | None:
    """What is in a file, one byte more than may be at most; None, with the problem added, when it cannot be read: where
    the file is `asked` for, if another one does."""
    try:
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as exc:
        reason = getattr(exc, "strerror", None) or exc
        there = isinstance(exc, FileNotFoundError)
        advice = (beside(path, asked.value if asked else name) if there else "") or "give the path of a file"
        if asked is None:
            problems.add(Place(Source(name, ""), 1, 1), f"cannot be read: {reason}", advice)
        else:
            problems.add(asked.place, f"the file {asked.value} cannot be read: {reason}", advice)
        return None


def beside(path: Path, written: str) -> str:
    """Advice for a file that is not there: those beside it with nearly this name, as the `written` one is."""
    try:
        found = list(itertools.islice(path.parent.iterdir(), _MOST_BESIDE))
    except OSError:
        return ""
    suffixes = _YAML if path.suffix in _YAML else {path.suffix or ".yaml"}
    names = {each.stem: str(Path(written).with_name(each.name)) for each in found if each.suffix in suffixes}
    return meant([names[stem] for stem in close(path.stem, names)])


def read_bytes(data: bytes, name: str, problems: Problems, least: str = "") -> Node | None:
    """Parse the bytes of a file; see read_file."""
    nowhere = Place(Source(name, ""), 1, 1)
    if len(data) > MAX_BYTES:
        problems.add(nowhere, f"is larger than {MAX_BYTES // 1024} KiB", "split it, and include the parts with 'use'")
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        line = data.count(b"\n", 0, exc.start) + 1
        column = exc.start - (data.rfind(b"\n", 0, exc.start) + 1) + 1
        problems.add(
            Place(nowhere.source, line, column), f"byte 0x{data[exc.start]:02X} is not UTF-8", "save the file as UTF-8"
        )
        return None
    return read_text(text, name, problems, least)


def read_text(text: str, name: str, problems: Problems, least: str = "") -> Node | None:
    """Parse YAML text into nodes; None, with the problems added, when there is no document to work on."""
    source = Source(name, text)
    if (tab := text.find("\t")) >= 0:
        line = text.count("\n", 0, tab) + 1
        problems.add(
            Place(source, line, tab - text.rfind("\n", 0, tab)),
            "a tab character",
            r"indent with spaces; inside text write '\t' in double quotes",
        )
        return None
    if found := _ODD_LINE_END.search(text):
        line = text.count("\n", 0, found.start()) + 1
        problems.add(
            Place(source, line, found.start() - text.rfind("\n", 0, found.start())),
            f"the character U+{ord(found[0]):04X} ends the line for some readers of YAML",
            f"write '\\u{ord(found[0]):04x}' in double quotes",
        )
        return None
    builder = _Builder(source, problems)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.handle(event)
    except _GiveUp:
        return None
    except yaml.MarkedYAMLError as exc:
        problems.add(*_syntax_problem(exc, source))
        return None
    except yaml.YAMLError as exc:
        position = getattr(exc, "position", None)
        before = text[:position] if isinstance(position, int) else ""
        place = Place(source, before.count("\n") + 1, len(before) - before.rfind("\n"))
        reason = getattr(exc, "reason", "unreadable characters")
        problems.add(place, f"not valid YAML: {reason}")
        return None
    if builder.root is None:
        problems.add(Place(source, 1, 1), "is empty", least)
    return builder.root


def _syntax_problem(error: yaml.MarkedYAMLError, source: Source) -> tuple[Place, str, str]:
    """Where the parser stopped, or where the mistake is that made it stop: what is wrong, and what to do."""
    mark, begin = error.problem_mark or error.context_mark, error.context_mark
    reason = error.problem or error.context or "syntax error"
    place = Place(source, mark.line + 1, mark.column + 1) if mark else Place(source, 1, 1)
    if begin and "quoted scalar" in (error.context or "") and "end of stream" in reason:
        opened = Place(source, begin.line + 1, begin.column + 1)
        return opened, "not valid YAML: a quote opens here, and nothing closes it", "close the quote, in the same line"
    if colon := _without_blank(source, {each.line + 1 for each in (mark, begin) if each}):
        verb, text = colon[1]
        return colon[0], f"not valid YAML: no blank after '{verb}:'", f"write a blank: {verb}: {text}"
    return place, f"not valid YAML: {reason}", _open_bracket(error) or _SYNTAX_ADVICE.get(reason, "")


# A line of a key and a value without a blank between them, which is text to YAML.
_NO_BLANK = re.compile(r"\s*(?:- *)*([a-z_]+):([^\s:/].*)")


def _without_blank(source: Source, lines: set[int]) -> tuple[Place, tuple[str, str]] | None:
    """The first such line among these and the one above each; its place, key and value."""
    for number in sorted(lines | {line - 1 for line in lines}):
        if match := _NO_BLANK.fullmatch(source.line(number)):
            return Place(source, number, match.start(2) + 1), (match[1], match[2])
    return None


def _open_bracket(error: yaml.MarkedYAMLError) -> str:
    """Advice where the parser was inside brackets."""
    for what, bracket in (("flow mapping", "{"), ("flow sequence", "[")):
        if error.context_mark and what in (error.context or ""):
            return f"is the '{bracket}' of line {error.context_mark.line + 1} closed?"
    return ""


# What people have mostly done where the parser of YAML says this.
_SYNTAX_ADVICE = {
    "mapping values are not allowed in this context": "quote text that has a colon in it; is this line, or the one "
    "above it, indented one space too far?",
    "did not find expected key": "is this line indented less than the others of its step, or a bracket or a quote not "
    "closed?",
    "did not find expected '-' indicator": "is this line indented less than the list it belongs to?",
    "found character that cannot start any token": "quote text that begins with this character",
    "did not find expected alphabetic or numeric character": "quote text that begins with * or &",
}


class _GiveUp(Exception):
    """What follows cannot be given a sensible place any more."""


class _Builder:
    """Turns parser events into nodes. Open collections stand on a stack; a mapping's pending key beside it."""

    def __init__(self, source: Source, problems: Problems) -> None:
        self.source = source
        self.problems = problems
        self.root: Node | None = None
        self._stack: list[Mapping | Sequence] = []
        self._keys: list[Scalar | None] = []
        self._documents = 0

    def handle(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.ScalarEvent):
            self._refuse_decoration(event)
            self._place_node(self._scalar(event))
        elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            self._refuse_decoration(event)
            self._open(event)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self._stack.pop()
            self._keys.pop()
        elif isinstance(event, yaml.AliasEvent):
            text = f"*{event.anchor}"
            advice = f"quote text that begins with *: '{text}'; or write the value itself, steps in a file for 'use'"
            self.problems.add(self._at(event), "anchors and aliases are not read", advice)
            self._place_node(Scalar(text, text, False, self._at(event)))
        elif isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                self.problems.add(self._at(event), "a second document in one file", "put it into a separate file")
                raise _GiveUp

    def _at(self, event: yaml.Event) -> Place:
        mark = event.start_mark
        assert mark is not None
        return Place(self.source, mark.line + 1, mark.column + 1)

    def _refuse_decoration(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        if event.anchor is not None:
            self.problems.add(self._at(event), "anchors and aliases are not read", "write the value where it is needed")
        if event.tag is not None:
            self.problems.add(self._at(event), f"the tag '{event.tag}' is not read", "leave it out")

    def _open(self, event: yaml.CollectionStartEvent) -> None:
        place = self._at(event)
        if len(self._stack) >= MAX_DEPTH:
            self.problems.add(
                place, f"is nested more than {MAX_DEPTH} levels deep", "put a part of it into a separate file"
            )
            raise _GiveUp
        node: Mapping | Sequence
        node = Mapping({}, place) if isinstance(event, yaml.MappingStartEvent) else Sequence([], place)
        self._place_node(node)
        self._stack.append(node)
        self._keys.append(None)

    def _place_node(self, node: Node) -> None:
        if not self._stack:
            self.root = node
        elif isinstance(parent := self._stack[-1], Sequence):
            parent.items.append(node)
        elif (key := self._keys[-1]) is None:
            self._keys[-1] = self._key(node)
        else:
            self._keys[-1] = None
            self._add_entry(parent, key, node)

    def _key(self, node: Node) -> Scalar:
        if isinstance(node, Scalar):
            return node
        self.problems.add(node.place, "a key must be text, found a list or a mapping", "put text before the colon")
        raise _GiveUp

    def _add_entry(self, parent: Mapping, key: Scalar, node: Node) -> None:
        # 1, true and '1' are different keys to the reader of the file, though 1 == True to Python.
        value = key.text if isinstance(key.value, bool) or key.value is None else key.value
        if value in parent.entries:
            first = parent.entries[value][0].place
            self.problems.add(
                key.place, f"duplicate key '{key.text}' (first in line {first.line})", "keep one of the two"
            )
        else:
            parent.entries[value] = (key, node)

    def _awaits_key(self) -> bool:
        return bool(self._stack) and isinstance(self._stack[-1], Mapping) and self._keys[-1] is None

    def _scalar(self, event: yaml.ScalarEvent) -> Scalar:
        place = self._at(event)
        if event.style:
            return Scalar(event.value, event.value, True, place)
        value = plain_scalar(event.value)
        if isinstance(value, Refused):
            advice = after_comma(place) if self._awaits_key() else ""
            self.problems.add(place, f"the unquoted {value.shown} {value.what}", advice or value.advice)
            value = event.value
        return Scalar(value, event.value, False, place)


def after_comma(place: Place) -> str:
    """Advice for a key right after a comma between digits: inside braces the comma of 0,5 begins a new key."""
    line, at = place.source.line(place.line), place.column - 1
    return "write numbers with a point: 0.5" if _DECIMAL_COMMA.fullmatch(line[max(0, at - 2) : at + 1]) else ""


@dataclass(frozen=True)
class Refused:
    """Unquoted text that different readers of YAML would take for different things."""

    what: str
    advice: str
    shown: str


@lru_cache(maxsize=4096)  # a plan says the same keys and words again and again
def plain_scalar(text: str) -> Plain | Refused:
    """What unquoted text means."""
    if text in _WORDS:
        return _WORDS[text]
    if len(text) < _LONGEST_NUMBER:
        if _NUMBER.fullmatch(text):
            return Decimal(text) if "." in text else int(text)
        if _HEX.fullmatch(text):
            return int(text, 16)
    if text[0] in _SUSPECT:
        for pattern, what, advice in _REFUSED:
            if pattern.fullmatch(text):
                if _MAY_BE_PASSKEY.fullmatch(text):
                    return Refused(what, "put it in quotes, or drop the zeros if it is a number", "number")
                return Refused(what, advice.format(text), f"'{printable(text)}'")
    return text
