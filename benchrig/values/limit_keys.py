"""What the keys of a limit take."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

import msgspec

from benchrig.source.shape import Misfit, describe_value
from benchrig.values.judging import typed


class AnyValue:
    """Any single value or list; what it means depends on the reading it is held against."""

    source_schema: ClassVar[dict[str, Any]] = {"description": "a value, or a list of values"}

    @classmethod
    def from_source(cls, value: Any) -> Any:
        return value


class Measure(AnyValue):
    """A number or a quantity."""

    source_schema: ClassVar[dict[str, Any]] = {"type": ["number", "string"]}

    @classmethod
    def from_source(cls, value: Any) -> Any:
        if isinstance(value, (dict, list, bool)) or value is None:
            raise Misfit(f"expected a number or a quantity, found {describe_value(value)}")
        return value


class Bits(msgspec.Struct, frozen=True):
    """The bits under `mask` must be as in `value`."""

    mask: int
    value: int

    def misfits(self) -> Iterable[Misfit]:
        if self.mask <= 0:
            yield Misfit("the mask selects no bit", "for example: 0x01", path=("mask",))
        elif self.value & ~self.mask:
            yield Misfit(
                f"the value 0x{self.value:X} has bits outside the mask 0x{self.mask:X}",
                "widen the mask",
                path=("value",),
            )


class Length:
    """A number of bytes, characters or items: exactly so many, or a range."""

    __slots__ = ("max", "min")
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "integer"}, {"type": "object", "additionalProperties": False,
                  "properties": {"min": {"type": "integer"}, "max": {"type": "integer"}}}]
    }  # fmt: skip

    def __init__(self, min: int | None, max: int | None) -> None:
        self.min = min
        self.max = max

    @classmethod
    def from_source(cls, value: Any) -> Length:
        value = typed(value)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return cls(value, value)
        if isinstance(value, dict) and value and value.keys() <= {"min", "max"}:
            low, high = value.get("min"), value.get("max")
            if not low and high is None:
                raise Misfit("every length is at least 0", "write a min above 0, or a max")
            if all(v is None or (isinstance(v, int) and not isinstance(v, bool) and v >= 0) for v in (low, high)):
                if low is not None and high is not None and low > high:
                    raise Misfit(f"min {low} is above max {high}", "exchange the two")
                return cls(low, high)
        raise Misfit(f"expected a length, found {describe_value(value)}", "for example: 8, or {min: 1, max: 20}")
