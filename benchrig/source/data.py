"""Data of Python -> text with a line for each key, which is read as every file is: messages name the line and show it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchrig.errors import UsageError
from benchrig.source.references import as_text
from benchrig.source.writing import Quoted, scalar
from benchrig.source.yaml import MAX_DEPTH

_NUMBERS = (int, float, Decimal, Fraction)


def text_of_data(data: Mapping[str, Any]) -> str:
    """The text of a file with this in it: mappings, lists and tuples, text, numbers, bytes (as hex text), quantities, true
    and false, None for nothing. `${…}` in a text means what it means in a file. Raises UsageError with all that no file
    can hold, and where."""
    writer = _Writer()
    lines = [*writer.lines(data, "", "")]
    if writer.wrong:
        raise UsageError("\n".join(writer.wrong), advice=_ADVICE)
    return "\n".join(lines) + "\n"


_ADVICE = "write text, numbers, bytes, quantities, true, false or None, in mappings and lists"


@dataclass
class _Writer:
    """`wrong` is what cannot be written."""

    wrong: list[str] = field(default_factory=list)

    def lines(self, data: Any, pad: str, path: str) -> Iterator[str]:
        if len(pad) > 2 * MAX_DEPTH:
            self.wrong.append(f"{path[:60]}…: expected at most {MAX_DEPTH} levels, found more")
        elif isinstance(data, Mapping):
            yield from self._rows(data, pad, path)
        elif isinstance(data, (list, tuple)):
            yield from self._items(data, pad, path)

    def _rows(self, data: Mapping[Any, Any], pad: str, path: str) -> Iterator[str]:
        for key, value in data.items():
            inner = f"{path}.{key}" if path else str(key)
            yield from self._entry(f"{pad}{self._scalar(key, inner)}:", value, f"{pad}  ", inner)

    def _items(self, data: list[Any] | tuple[Any, ...], pad: str, path: str) -> Iterator[str]:
        for index, value in enumerate(data):
            inner = f"{path}[{index}]"
            if isinstance(value, Mapping) and value:
                first, *rest = [*self.lines(value, f"{pad}  ", inner)] or [""]
                yield f"{pad}- {first.lstrip()}"
                yield from rest
            else:
                yield from self._entry(f"{pad}-", value, f"{pad}  ", inner)

    def _entry(self, head: str, value: Any, pad: str, path: str) -> Iterator[str]:
        if not isinstance(value, (Mapping, list, tuple)):
            yield f"{head} {self._scalar(value, path)}"
        elif value:
            yield head
            yield from self.lines(value, pad, path)
        else:
            yield f"{head} {'{}' if isinstance(value, Mapping) else '[]'}"

    def _scalar(self, value: Any, path: str) -> str:
        if isinstance(value, (bytes, bytearray)):
            return scalar(Quoted(as_text(value)))
        if value is None or isinstance(value, (bool, str, *_NUMBERS)):
            try:
                return scalar(value)
            except ValueError:
                return self.refuse(value, path, "a number that a file can hold")
        if hasattr(value, "written"):
            return scalar(value.written)
        return self.refuse(value, path, "text, a number, a mapping or a list")

    def refuse(self, value: Any, path: str, expected: str) -> str:
        found = str(value) if isinstance(value, float) else type(value).__name__
        self.wrong.append(f"{path}: expected {expected}, found {found}")
        return ""
