"""Text that may come from a device, made safe to show and bounded in size. All text from outside is shown through here.

What is not printable (control characters, bidirectional overrides, zero-width characters, halves of surrogate
pairs, characters without a meaning) is shown as a Python escape: `\\x1b`, `\\n`, `\\u202e`. What is left is legal in
XML 1.0 and cannot steer a terminal. A backslash stays one, so this is for reading; the record has the value itself.
"""

from __future__ import annotations

import json
from typing import Any

LIMIT = 200
MORE = "…"
_SHOWN_BYTES = 32
# Of a cell in a CSV file.
CELL_LIMIT = 4096
# What begins a formula in some spreadsheet, also in its full-width form.
_FORMULA = tuple("=+-@\t\r＝＋－＠")
_ASCII = str.maketrans(
    {"°": "deg ", "µ": "u", "±": "+/-", "…": "...", "–": "-", "−": "-", "Ω": "Ohm", "✗": "X", "²": "^2", "³": "^3"}
)


def plain(text: str, limit: int = LIMIT) -> str:
    """The text on one line without anything invisible, at most `limit` characters long."""
    shown = text[: limit + 1]
    if not shown.isprintable():
        shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in shown)
    return shown if len(shown) <= limit else shown[: max(0, limit - len(MORE))] + MORE


def plain_lines(text: str, limit: int = LIMIT, most: int = 100) -> list[str]:
    """Text of several lines, each made plain; of more than `most` lines the last ones."""
    lines = [plain(line, limit) for line in text.split("\n")]
    return lines if len(lines) <= most else [MORE, *lines[-most:]]


def ascii_text(text: str) -> str:
    """Plain text for an output that knows only ASCII."""
    return text.translate(_ASCII).encode("ascii", "backslashreplace").decode("ascii")


def is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def value_text(value: Any, limit: int = LIMIT) -> str:
    """A value of a record for people; '' for none, quotes around text that would not be seen."""
    if value is None:
        return ""
    if is_number(value):
        from benchrig.values.quantity import number_text

        return plain(number_text(value), limit)
    if isinstance(value, str):
        return plain(value, limit) if value.strip() else plain(repr(value), limit)
    if isinstance(value, list) and value and all(isinstance(item, str) and item.strip() for item in value):
        return plain(", ".join(value), limit)
    return json_text(value, limit)


def with_unit(value: Any, unit: str) -> str:
    """A value with its unit, a structure on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{plain(key)} {with_unit(item, '')}" for key, item in value.items()) + "}"
    return f"{value_text(value)} {unit}" if unit and is_number(value) else value_text(value)


def json_text(value: Any, limit: int = LIMIT) -> str:
    """Any value of a record as bounded JSON."""
    return plain(json.dumps(value, ensure_ascii=False), limit)


def hex_text(raw: str, most: int = _SHOWN_BYTES) -> str:
    """Hex digits in pairs; of more than `most` bytes the first ones, and how many there are."""
    pairs = [raw[at : at + 2] for at in range(0, min(len(raw), 2 * most), 2)]
    shown = plain(" ".join(pairs), 3 * most)
    return f"{shown} {MORE} ({len(raw) // 2} bytes)" if len(raw) > 2 * most else shown or "(no bytes)"


def csv_cell(value: Any) -> str:
    """A value of a record as a cell: numbers with all their digits, lists and mappings as JSON, and an apostrophe
    before text that a spreadsheet would take for a formula."""
    if value is None:
        return ""
    if is_number(value):
        return repr(value)
    text = plain(value, CELL_LIMIT) if isinstance(value, str) else json_text(value, CELL_LIMIT)
    return f"'{text}" if text.startswith(_FORMULA) else text
