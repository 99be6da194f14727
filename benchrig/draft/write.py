"""The text of a plan: strict YAML with comments. Whatever came from a device is quoted, and escaped in comments."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from decimal import Context, Decimal
from fractions import Fraction
from typing import Any

import msgspec

from benchrig.report.escape import plain
from benchrig.source.yaml import plain_scalar
from benchrig.steps.attribute import Uuid
from benchrig.values import catalogue

_PLAIN = re.compile(r"[A-Za-z]([A-Za-z0-9 _./-]*[A-Za-z0-9])?")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_COMMENT = 1000
# Plans read at most 40 digits before the point and 40 after it, and less than 60 characters together.
_DIGITS = 40
_EXACT = Context(prec=100)


class Bare(str):
    """A number or quantity, written as it is; everything else that is text is quoted where it has to be."""

    __slots__ = ()


def quoted(text: str) -> str:
    """Text as a scalar: bare where no reader of YAML takes it for anything else."""
    if (_PLAIN.fullmatch(text) or _UUID.fullmatch(text)) and plain_scalar(text) == text:
        return text
    if text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    return '"' + "".join(map(_escaped, text)) + '"'


def _escaped(character: str) -> str:
    """Half of a surrogate pair is no character: no text of a plan can have it."""
    if character in '"\\':
        return "\\" + character
    if character.isprintable() and character.isascii():
        return character
    number = 0xFFFD if "\ud800" <= character <= "\udfff" else ord(character)
    return f"\\u{number:04x}" if number <= 0xFFFF else f"\\U{number:08x}"


def value(data: Any) -> str:
    """A value within a step or a selection, on one line. `$` would begin a reference there."""
    if isinstance(data, Mapping):
        return "{" + ", ".join(f"{quoted(key)}: {value(item)}" for key, item in data.items()) + "}"
    if isinstance(data, (list, tuple)):
        return "[" + ", ".join(map(value, data)) + "]"
    return _scalar(data).replace("$", "$$")


def constant(data: Any) -> str:
    """A value where no reference can stand, on one line."""
    if isinstance(data, Mapping):
        return "{" + ", ".join(f"{quoted(str(key))}: {constant(item)}" for key, item in data.items()) + "}"
    if isinstance(data, (list, tuple)):
        return "[" + ", ".join(map(constant, data)) + "]"
    return _scalar(data)


def _scalar(data: Any) -> str:
    if isinstance(data, Bare):
        return str(data)
    if isinstance(data, bool):
        return "true" if data else "false"
    return str(data) if isinstance(data, int) else quoted(str(data))


def spec_data(spec: Any) -> dict[str, Any]:
    """The keys of a format, or of an own name with its format, that are not left at their defaults."""
    fields = sorted(msgspec.structs.fields(type(spec)), key=lambda field: field.name not in ("name", "uuid"))
    given = {field.encode_name: (getattr(spec, field.name), field.default) for field in fields}
    return {key: _data(item) for key, (item, default) in given.items() if item != default}


def _data(item: Any) -> Any:
    if isinstance(item, msgspec.Struct):
        return spec_data(item)
    if isinstance(item, Fraction):
        return Bare(decimal_text(item) or f"{item.numerator}/{item.denominator}")
    if isinstance(item, Uuid):
        short = catalogue.short_uuid(item)
        return Bare(f"0x{short}") if len(short) == 4 else str(item)
    if isinstance(item, dict):
        return {key: _data(each) for key, each in item.items()}
    return [_data(each) for each in item] if isinstance(item, list) else item


def decimal_text(number: Fraction) -> str:
    """The number without loss; '' when no decimal of a size that plans read says it."""
    for digits in range(_DIGITS + 1):
        if (number * 10**digits).denominator == 1:
            text = f"{Decimal(int(number * 10**digits)).scaleb(-digits, _EXACT):f}"
            return text if len(text.lstrip("-").partition(".")[0]) < _DIGITS else ""
    return ""


def comment(*sentences: str, indent: int = 0) -> Iterator[str]:
    """A line of comment for each sentence."""
    for sentence in sentences:
        yield " " * indent + "# " + plain(sentence, _COMMENT)


def block(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"
