"""Numbers that are written as text: `21.5`, or `counter 0007` with a pattern that takes the number out."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.source.shape import Misfit
from benchrig.source.writing import decimal_text
from benchrig.values.base import ANY, Format, Keys, Kind, Named, Range, check_size, exact_number, said, with_unit
from benchrig.values.pattern import Regex, captured, group_names
from benchrig.values.quantity import as_number
from benchrig.values.value import Value

_NUMBER = re.compile(r"[+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?", re.ASCII)
# A pattern of fixed text around one group: what can be written as well as read.
_AROUND = re.compile(
    r"((?:[^\\.^$*+?{}\[\]|()]|\\[^A-Za-z0-9])*)\(\?P<\w+>[^()]*\)((?:[^\\.^$*+?{}\[\]|()]|\\[^A-Za-z0-9])*)"
)
_MOST_DIGITS = 40
# A counter without a largest value does not wrap.
_ENDLESS = 10**_MOST_DIGITS


@dataclass(eq=False)
class DecimalFormat(Format):
    """A decimal number in UTF-8 text, leading zeros and a sign allowed. `part` has one named group that finds it in the
    text; the whole text has to match."""

    unit: str = ""
    valid: Range = ANY
    length: int | None = None
    part: Regex | None = None

    def __post_init__(self) -> None:
        self.size: int | None = self.length
        self.kind: Kind = "number"

    @property
    def counts(self) -> int:
        return _ENDLESS if self.valid.high is None else int(self.valid.high) + 1

    @property
    def writes(self) -> bool:
        return self.part is None or _AROUND.fullmatch(self.part) is not None

    def plain(self) -> Format:
        return replace(self, unit="", valid=ANY)

    def decode(self, data: bytes) -> Value:
        if self.length is not None:
            check_size(data, self.length, "the text")
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as error:
            raise MalformedValue(f"not utf8 text from byte {error.start} on") from error
        number = self._number(text)
        if number not in self.valid:
            value = with_unit(number, self.unit)
            raise MalformedValue(f"{value} is outside the valid range {self.valid.describe(self.unit)}")
        return as_number(number)

    def _number(self, text: str) -> Fraction:
        found: str | None = text
        if self.part is not None:
            parts = captured(self.part, text)
            if parts is None:
                raise MalformedValue(f"{said(text)} does not match '{self.part}'")
            found = next(iter(parts.values()), None)
        if found is None or not _NUMBER.fullmatch(found):
            raise MalformedValue(f"expected a decimal number, found {'nothing' if found is None else said(found)}")
        return Fraction(found)

    def encode(self, value: Any) -> bytes:
        number = exact_number(value, f"a number ({self.describe()})")
        text = decimal_text(number)
        if text is None:
            raise MalformedValue(f"{with_unit(number, self.unit)} has no decimal text of {_MOST_DIGITS} digits")
        data = self._written(text).encode("utf-8")
        self.decode(data)
        return data

    def _written(self, text: str) -> str:
        """The text with the number in it, with as many leading zeros as the pattern or the length asks for."""
        around = _AROUND.fullmatch(self.part) if self.part is not None else None
        if self.part is not None and around is None:
            message = f"the text around the number in '{self.part}' can vary, so no value can be written"
            raise MalformedValue(message, advice="write the text as raw bytes")
        begin, end = (re.sub(r"\\(.)", r"\1", fixed) for fixed in (around.groups() if around else ("", "")))
        for digits in range(len(text), _MOST_DIGITS + 1):
            written = begin + text.zfill(digits) + end
            if self._takes(written):
                return written
        return begin + text + end

    def _takes(self, text: str) -> bool:
        fits = self.length is None or len(text.encode("utf-8")) == self.length
        return fits and (self.part is None or captured(self.part, text) is not None)

    @property
    def name(self) -> str:
        return "decimal"

    def detail(self) -> str:
        size = "" if self.length is None else f"of {self.length} bytes"
        return " ".join(filter(None, (size, f"in '{self.part}'" if self.part is not None else "")))


def _decimal(keys: Keys) -> Format:
    if keys.part is not None and len(group_names(keys.part)) != 1:
        message = f"the pattern '{keys.part}' has {len(group_names(keys.part))} named groups, expected one"
        raise Misfit(message, r"for example: part: 'counter (?P<number>\d+)'", ("part",))
    return DecimalFormat(keys.unit, keys.valid, keys.length, keys.part)


NAMED = {"decimal": Named(frozenset({"unit", "valid_min", "valid_max", "length", "part"}), _decimal)}
