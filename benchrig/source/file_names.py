"""Files that a file names: one, or a list of them."""

from __future__ import annotations

from typing import Any, ClassVar, Self

from benchrig.source.shape import Misfit, describe_value


class FileNames(tuple[str, ...]):
    """As they are written, seen from the file that names them."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]
    }

    @classmethod
    def from_source(cls, value: Any) -> Self:
        names = value if isinstance(value, list) else [value]
        for index, name in enumerate(names):
            if not isinstance(name, str) or not name:
                path = (index,) if isinstance(value, list) else ()
                raise Misfit(f"expected a file name, found {describe_value(name)}", "for example: names.yaml", path)
        if not names:
            raise Misfit("expected a file name, found none", "for example: names.yaml")
        return cls(names)
