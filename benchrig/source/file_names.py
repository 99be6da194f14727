"""Files that a file names: one, or a list of them."""

from __future__ import annotations

from typing import ClassVar

from benchrig.source.one_or_more import OneOrMore


class FileNames(OneOrMore):
    """As they are written, seen from the file that names them."""

    __slots__ = ()
    one: ClassVar[str] = "a file name"
    example: ClassVar[str] = "names.yaml"
