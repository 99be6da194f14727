"""The keys of a limit: what is so of each whatever its value is, and what they take."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.source.shape import Misfit, describe_value
from benchrig.values.judging import Kind, typed


@dataclass(frozen=True)
class Key:
    """One key of a limit."""

    # the kinds of readings that it is for
    kinds: frozenset[Kind]
    # when it makes the reading a number: 'always'; 'measure': also where a quantity is written as text; 'written': where a
    # number or a quantity is
    number: Literal["", "always", "measure", "written"] = ""
    # whether it can rule out all that `equals` or `one_of` name (of the older keys a plan may have what cannot pass)
    excludes: bool = False
    # whether it is about samples one after the other
    needs_samples: bool = False
    # whether nothing at all satisfies it
    absence: bool = False


def _for(*kinds: Kind) -> frozenset[Kind]:
    return frozenset(kinds)


_ALL = _for("number", "text", "time", "bytes", "boolean", "list", "any")
_ORDERED = _for("number", "time", "list")
_MEASURED = _for("number", "list")
_HOLDERS = _for("text", "time", "bytes", "list")
# Those of `Limit` in their order.
KEYS: dict[str, Key] = {
    "equals": Key(_ALL, "written"),
    "differs": Key(_ALL, "written", excludes=True, absence=True),
    "min": Key(_ORDERED, "measure"),
    "above": Key(_ORDERED, "measure", excludes=True),
    "max": Key(_ORDERED, "measure"),
    "below": Key(_ORDERED, "measure", excludes=True),
    "nominal": Key(_MEASURED, "measure"),
    "tolerance": Key(_MEASURED, "measure"),
    "one_of": Key(_for("number", "text", "time", "bytes", "any")),
    "matches": Key(_for("text", "time")),
    "contains": Key(_HOLDERS),
    "lacks": Key(_HOLDERS, excludes=True, absence=True),
    "bits": Key(_for("number", "bytes")),
    "crc": Key(_for("bytes"), excludes=True),
    "length": Key(_for("text", "bytes", "list")),
    "rising": Key(_for("number", "time"), "always", needs_samples=True),
}
# Those that take one number or quantity and nothing else.
MEASURES = frozenset(name for name, key in KEYS.items() if key.number == "measure")


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

    @property
    def words(self) -> str:
        if self.min == self.max:
            return str(self.min)
        return " and ".join(f"{key} {end}" for key, end in (("min", self.min), ("max", self.max)) if end is not None)

    @classmethod
    def from_source(cls, value: Any) -> Length:
        value = typed(value)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return cls(value, value)
        if isinstance(value, dict) and value and value.keys() <= {"min", "max"}:
            low, high = value.get("min"), value.get("max")
            if not low and high is None:
                raise Misfit("every length is at least 0", "write a min above 0, or a max")
            if all(isinstance(v, int) and not isinstance(v, bool) and v >= 0 for v in value.values()):
                if low is not None and high is not None and low > high:
                    raise Misfit(f"min {low} is above max {high}", "exchange the two")
                return cls(low, high)
        raise Misfit(f"expected a length, found {describe_value(value)}", "for example: 8, or {min: 1, max: 20}")
