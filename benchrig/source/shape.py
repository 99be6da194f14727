"""A node tree -> typed models, with every mistake reported at its place.

A model is a msgspec Struct. Its fields may be bool, int, Number, str, Literal, list, dict with text keys, other
Structs, `X | None`, Any, and own classes that have

    from_source(value) -> Self      a single value or plain data; raises Misfit
    from_node(node, reader) -> Self  when places inside matter; adds its problems to `reader.problems`

A Struct may have `misfits() -> Iterable[Misfit]`: what is wrong between its fields; `direct`, the key that is mostly meant
where a single value is written in place of the mapping; `called`, what names such mappings have where each has one.

A scalar with `${…}` in it cannot be judged before the run: the field is LATE, and the node is read again once the
reference has been replaced (`substitute`).
"""

from __future__ import annotations

import contextlib
import re
import types
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias, Union, get_args, get_origin

import msgspec

from benchrig.errors import UsageError
from benchrig.source.nodes import locate, plain
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import as_text, has_reference
from benchrig.source.yaml import Mapping, Node, Refused, Scalar, Sequence, after_comma, plain_scalar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from collections.abc import Mapping as AnyMapping

Number: TypeAlias = int | Decimal
Names: TypeAlias = "AnyMapping[str, str]"

LONGEST_SHOWN = 80


class Misfit(UsageError):
    """A value that does not fit; `path` leads from the value to the part that is wrong, keys and indexes. Where nobody knows
    a better place for it, whoever asked for it is to blame."""

    def __init__(self, message: str, advice: str = "", path: tuple[str | int, ...] = ()) -> None:
        super().__init__(message, advice=advice)
        self.path = path


@contextlib.contextmanager
def misfit_is_usage() -> Iterator[None]:
    """What does not fit was typed at the command line: a Misfit becomes a UsageError."""
    try:
        yield
    except Misfit as misfit:
        raise UsageError(misfit.message, advice=misfit.advice) from misfit


class LooseText(str):
    """Text from outside a file (the command line, an operator): read as whatever the place needs."""

    __slots__ = ()


class _Late:
    """Stands for a field whose value is known only in the run."""

    def __repr__(self) -> str:
        return "LATE"


class _Bad:
    """Stands for a field whose problem has been reported."""


LATE: Final = _Late()
BAD: Final = _Bad()


class Reader:
    """Reads nodes into models and collects the problems."""

    def __init__(self, problems: Problems, usual: Names = types.MappingProxyType({})) -> None:
        """`usual` are the names that are mostly meant in what is read, by what they name: {'reading': 'value'}."""
        self.problems = problems
        self.usual = usual

    def read(self, node: Node, kind: Any) -> Any:
        """The model, LATE where a reference stands for the whole, or BAD with the problems added."""
        return _reader_of(kind)(node, self)

    def read_own(self, node: Node, kind: Any) -> Any:
        """What `kind.from_source` makes of the node; for a `from_node` that looks at the node first."""
        return _own_class(kind)(node, self)

    def knows(self, kind: Any) -> bool:
        """Whether there is a way to read such a type."""
        with contextlib.suppress(KeyError, TypeError):
            return callable(_reader_of(kind))
        return False

    def misfit(self, node: Node, misfit: Misfit) -> _Bad:
        wrong = locate(node, misfit.path)
        self.problems.add(wrong.place, misfit.message, _of_written(wrong, misfit.advice))
        return BAD


def is_late(part: Any) -> bool:
    """Whether a model, or anything in it, is known only in the run. (The members of a mapping are judged one by one.)"""
    if isinstance(part, list):
        return any(map(is_late, part))
    if not isinstance(part, msgspec.Struct):  # most are such: a check of a long plan asks for ten thousands
        return part is LATE
    return any(is_late(getattr(part, name)) for name in part.__struct_fields__)


def describe(node: Node) -> str:
    """What stands there, for 'expected X, found Y'."""
    if isinstance(node, Mapping):
        return "a mapping"
    if isinstance(node, Sequence):
        return "a list"
    return describe_value(node.value)


def octets(value: Any) -> bytes:
    """Bytes of hex text: '01 A0', '01a0'. Misfit."""
    if isinstance(value, str):
        with contextlib.suppress(ValueError):
            return bytes.fromhex(value)
    raise Misfit(f"expected bytes as hex text, found {describe_value(value)}", _hex_advice(value))


def _of_written(node: Node, advice: str) -> str:
    """Advice to quote the digits of a number: those that were written, not those of its value."""
    if isinstance(node, Scalar) and not node.quoted and node.text.startswith("0x") and advice == _quoted(node.value):
        digits = node.text.removeprefix("0x")
        return _quoted(digits.zfill(len(digits) + len(digits) % 2))
    return advice


def _quoted(digits: Any) -> str:
    return f"quote the hex digits: '{digits:02}'" if isinstance(digits, int) else f"quote the hex digits: '{digits}'"


def _hex_advice(value: Any) -> str:
    if isinstance(value, int) and not isinstance(value, bool):
        return _quoted(value)
    digits = re.sub(r"\s", "", value) if isinstance(value, str) else ""
    if re.fullmatch("[0-9A-Fa-f]", digits):
        return f"write two hex digits for a byte: '0{digits}'"
    if re.fullmatch("[0-9A-Fa-f]+", digits):
        return "a byte has two hex digits, and one digit is left over"
    return "for example: '01 A0'"


def describe_value(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, Decimal, float)):
        return f"the number {value}"
    if isinstance(value, (dict, list)):
        return "a mapping" if isinstance(value, dict) else "a list"
    text = str(value)
    return f"the text {text!r}" if len(text) <= LONGEST_SHOWN else f"the text {text[:LONGEST_SHOWN]!r}…"


_ReadNode: TypeAlias = "Callable[[Node, Reader], Any]"


@cache
def _reader_of(kind: Any) -> _ReadNode:
    """The reading function for one type."""
    if hasattr(kind, "from_node"):
        return kind.from_node  # type: ignore[no-any-return]
    if hasattr(kind, "from_source"):
        return _own_class(kind)
    origin, arguments = get_origin(kind), get_args(kind)
    if kind is Any:
        return _anything
    if origin in (Union, types.UnionType):
        return _union(arguments)
    if origin is Literal:
        return _literal(arguments)
    if origin is list:
        return _list(arguments[0])
    if origin is dict:
        return _dict(arguments[1])
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return _struct(kind)
    return _SIMPLE[kind]


def _late(node: Node) -> bool:
    """Whether the node is a scalar that holds a reference."""
    return isinstance(node, Scalar) and has_reference(node)


def _scalar_reader(check: Callable[[Any], Any], expected: str) -> _ReadNode:
    def read(node: Node, reader: Reader) -> Any:
        if _late(node):
            return LATE
        if isinstance(node, Scalar):
            value = _loosened(node.value, expected)
            if check(value):
                return value
            # a reference in quotes, replaced by what is no text itself
            if expected == "text" and node.quoted and (text := as_text(value)) is not None:
                return text
        advice = _EXAMPLES.get(expected, "")
        if expected == "nothing" and isinstance(node, Mapping):
            advice = "align these keys with the key above them"
        if expected == "text" and isinstance(node, Scalar) and isinstance(node.value, (int, Decimal, bool)):
            advice = f"quote it: '{node.text}'"
        if expected == "a whole number" and isinstance(node, Scalar) and _HEX_NUMBER.fullmatch(str(node.value)):
            advice = f"write 0x{node.value} if the digits are hexadecimal"
        return reader.misfit(node, Misfit(f"expected {expected}, found {describe(node)}", advice))

    return read


_HEX_NUMBER = re.compile("[0-9A-Fa-f]{2,8}")
_EXAMPLES = {
    "true or false": "write true or false",
    "a whole number": "for example: 5",
    "a number": "for example: 0.5",
    "text": "write a single value",
    "nothing": "leave it out",
}


def _loosened(value: Any, expected: str) -> Any:
    if isinstance(value, LooseText) and expected != "text":
        typed = plain_scalar(value)
        return value if isinstance(typed, Refused) else typed
    return value


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, Decimal, float, Fraction)) and not isinstance(value, bool)


_SIMPLE: dict[Any, _ReadNode] = {
    bool: _scalar_reader(lambda v: isinstance(v, bool), "true or false"),
    int: _scalar_reader(lambda v: isinstance(v, int) and not isinstance(v, bool), "a whole number"),
    Decimal: _scalar_reader(_is_number, "a number"),
    str: _scalar_reader(lambda v: isinstance(v, str), "text"),
    type(None): _scalar_reader(lambda v: v is None, "nothing"),
}


def _anything(node: Node, reader: Reader) -> Any:
    return LATE if has_reference(node) else plain(node)


def _own_class(kind: Any) -> _ReadNode:
    def read(node: Node, reader: Reader) -> Any:
        if has_reference(node):
            return LATE
        if isinstance(node, Scalar) and isinstance(node.value, kind):
            return node.value
        try:
            return kind.from_source(plain(node))
        except Misfit as misfit:
            return reader.misfit(node, misfit)

    return read


def _literal(words: tuple[Any, ...]) -> _ReadNode:
    def read(node: Node, reader: Reader) -> Any:
        if _late(node):
            return LATE
        value = node.value if isinstance(node, Scalar) else None
        if isinstance(value, str) and value in words:
            return str(value)
        listed = ", ".join(map(str, words))
        advice = suggest(str(value), map(str, words)) if isinstance(value, str) else ""
        return reader.misfit(node, Misfit(f"expected one of {listed}; found {describe(node)}", advice))

    return read


def _list(item: Any) -> _ReadNode:
    def read(node: Node, reader: Reader) -> Any:
        if _late(node):
            return LATE
        if not isinstance(node, Sequence):
            return reader.misfit(
                node,
                Misfit(f"expected a list, found {describe(node)}", "write it in [ ], or a line with '- ' for each"),
            )
        values = [reader.read(child, item) for child in node.items]
        return _whole(values, values)

    return read


def _dict(item: Any) -> _ReadNode:
    def read(node: Node, reader: Reader) -> Any:
        if not isinstance(node, Mapping):
            if _late(node):
                return LATE
            return reader.misfit(node, Misfit(f"expected a mapping, found {describe(node)}", _indent(node) or _KEYS))
        values = {}
        for key, (scalar, child) in node.entries.items():
            if (wrong := _without_name(item, key, child, reader.usual)) is not None:
                reader.problems.add(scalar.place, wrong.message, wrong.advice)
                values[key] = BAD
            elif isinstance(key, str):
                values[key] = reader.read(child, item)
            else:
                reader.problems.add(
                    scalar.place, f"expected text as a key, found {describe(scalar)}", f"quote it: '{scalar.text}'"
                )
        # a member that is LATE stays one, so that the others can be checked now
        return BAD if any(value is BAD for value in values.values()) else values

    return read


def _without_name(item: Any, key: Any, value: Node, usual: Names) -> Misfit | None:
    """What is wrong where the keys of one of several mappings are written without its name."""
    called = getattr(item, "called", "")
    if not called or not isinstance(value, Scalar) or value.value is None or key not in item.__struct_fields__:
        return None
    advice = f"write {{{usual.get(called, 'NAME')}: {{{key}: {_typed(value)}}}}}"
    return Misfit(f"expected the name of a {called}, found '{key}'", advice)


def _typed(scalar: Scalar) -> str:
    """As it was written in a file."""
    return "'" + scalar.text.replace("'", "''") + "'" if scalar.quoted else scalar.text


def _meant(node: Node, direct: str) -> str:
    """Advice where a single value is written in place of a mapping; '' for anything else."""
    if not direct or not isinstance(node, Scalar) or node.value is None:
        return ""
    return f"write {{{direct}: {_typed(node)}}}"


_KEYS = "write 'key: value' lines"


def _indent(node: Node) -> str:
    """Advice where a key stands alone: what belongs to it is mostly there, but not far enough to the right."""
    alone = isinstance(node, Scalar) and node.value is None
    return "indent the lines that belong to this key" if alone else ""


def _whole(result: Any, parts: Any) -> Any:
    """The result, unless one of its parts is not there (yet)."""
    late = False
    for part in parts:
        if part is BAD:
            return BAD
        late = late or part is LATE
    return LATE if late else result


def _union(arguments: tuple[Any, ...]) -> _ReadNode:
    others = tuple(a for a in arguments if a is not type(None))
    if set(others) == {int, Decimal}:
        inner = _SIMPLE[Decimal]
    elif len(others) == 1:
        inner = _reader_of(others[0])
    else:
        raise TypeError(f"no reader for {arguments}: give the union a class with from_source")

    if len(others) == len(arguments) or getattr(others[0], "never_empty", False):
        return inner
    # an empty key is one that was left out
    return lambda node, reader: None if isinstance(node, Scalar) and node.value is None else inner(node, reader)


def _struct(kind: type[msgspec.Struct]) -> _ReadNode:
    fields = {field.encode_name: field for field in msgspec.structs.fields(kind)}
    required = [name for name, field in fields.items() if field.required]
    words = ", ".join(fields)
    misfits = getattr(kind, "misfits", None)
    example: str = getattr(kind, "example", "")
    direct: str = getattr(kind, "direct", "")
    # keys that are often written here, and what to do about them
    elsewhere: dict[str, str] = getattr(kind, "elsewhere", {})

    def read(node: Node, reader: Reader) -> Any:
        if not isinstance(node, Mapping):
            if _late(node):
                return LATE
            if meant := _meant(node, direct):
                return reader.misfit(node, Misfit(f"expected a mapping, found {describe(node)}", meant))
            advice = _indent(node) or example or _KEYS
            return reader.misfit(node, Misfit(f"expected a mapping with {words}; found {describe(node)}", advice))
        values: dict[str, Any] = {}
        before = reader.problems.mistakes
        for key, (scalar, child) in node.entries.items():
            if key in fields:
                field = fields[key]
                values[field.name] = reader.read(child, field.type)
            else:
                advice = elsewhere.get(str(key)) or after_comma(scalar.place) or suggest(str(key), fields)
                reader.problems.add(scalar.place, f"unknown key '{scalar.text}'", advice)
        for name in required:
            if name not in node.entries:
                reader.problems.add(node.place, f"the key '{name}' is missing", f"add {name}: …")
        if reader.problems.mistakes > before:
            return BAD
        model = kind(**values)
        if misfits and not any(map(is_late, values.values())):
            for misfit in misfits(model):
                reader.misfit(node, misfit)
        return BAD if reader.problems.mistakes > before else model

    return read
