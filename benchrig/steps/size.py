"""A number of bytes in a plan, or as many as the link carries at once."""

from __future__ import annotations

from typing import Any, ClassVar

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.judging import typed

PAYLOAD = "payload"


class Size:
    """`number` is None for the payload of the link."""

    __slots__ = ("number",)
    source_schema: ClassVar[dict[str, Any]] = {"anyOf": [{"type": "integer", "minimum": 1}, {"enum": [PAYLOAD]}]}

    def __init__(self, number: int | None) -> None:
        self.number = number

    @classmethod
    def from_source(cls, value: Any) -> Size:
        value = typed(value)
        if value == PAYLOAD:
            return cls(None)
        if isinstance(value, int) and not isinstance(value, bool) and value > 0:
            return cls(value)
        advice = suggest(value, [PAYLOAD]) if isinstance(value, str) else ""
        raise Misfit(
            f"expected a number of bytes or '{PAYLOAD}', found {describe_value(value)}", advice or "for example: 20"
        )

    def of(self, payload: int) -> int:
        """So many bytes on a link that carries `payload` of them at once."""
        return payload if self.number is None else self.number

    def __str__(self) -> str:
        return PAYLOAD if self.number is None else str(self.number)
