"""What a decoded value is."""

from __future__ import annotations

from typing import TypeAlias

Value: TypeAlias = "bool | int | float | str | bytes | list[Value] | dict[str, Value] | None"
"""A number is an int or the float nearest to the exact value; a structure is a mapping of its fields."""


class Word(str):
    """A word in place of a number: 'not known', 'NaN', 'chest'. It compares equal to the same text."""

    __slots__ = ()
