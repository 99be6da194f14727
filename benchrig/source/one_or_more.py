"""One text, or a list of texts."""

from __future__ import annotations

from typing import Any, ClassVar, Self

from benchrig.source.shape import Misfit, describe_value


class OneOrMore(tuple[str, ...]):
    """A subclass says what one of them is (`one`), shows one (`example`), and may refuse more."""

    __slots__ = ()
    one: ClassVar[str]
    example: ClassVar[str]
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]
    }

    @classmethod
    def from_source(cls, value: Any) -> Self:
        names = value if isinstance(value, list) else [value]
        if not names:
            raise Misfit(f"expected {cls.one}, found none", f"for example: {cls.example}")
        for index, name in enumerate(names):
            try:
                cls.check(name)
            except Misfit as misfit:
                path = (index,) if isinstance(value, list) else ()
                raise Misfit(misfit.message, misfit.advice, path) from misfit
        return cls(names)

    @classmethod
    def check(cls, name: Any) -> None:
        """Raises Misfit."""
        if not isinstance(name, str) or not name:
            raise Misfit(f"expected {cls.one}, found {describe_value(name)}", f"for example: {cls.example}")
