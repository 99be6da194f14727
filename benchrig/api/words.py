"""Python data -> the nodes that a plan is read from. A text is just that text: no reference, and never a number."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any
from uuid import UUID

from benchrig.errors import PlanError
from benchrig.source.problem import Place, Problem
from benchrig.source.shape import Misfit, describe_value
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.values.quantity import Duration, Quantity, exact
from benchrig.values.units import UNITS

# What data may be, for messages.
_EXPECTED = "text, a number, a Quantity, bytes, a date and time, a mapping or a list"


class Secret:
    """A value that reaches the unit and nothing else: neither the record nor a message."""

    __slots__ = ("value",)

    def __init__(self, value: str | bytes | int | Decimal | Quantity) -> None:
        self.value = value

    def __repr__(self) -> str:
        return "Secret(…)"


def step_node(verb: str, subject: object, keys: Mapping[str, object], place: Place) -> MappingNode:
    """A step as a plan has it; keys that Python reserves end in '_', and those that are None are left out."""
    said = {verb: subject} | {name.removesuffix("_"): value for name, value in keys.items() if value is not None}
    return mapping_node(said, place)


def mapping_node(data: Mapping[Any, object], place: Place) -> MappingNode:
    """PlanError for what a plan cannot hold."""
    return MappingNode({_key(key, place): (_text(str(key), place), node(data[key], place)) for key in data}, place)


def node(data: object, place: Place) -> Node:
    """PlanError for what a plan cannot hold."""
    if isinstance(data, Mapping):
        return mapping_node(data, place)
    if isinstance(data, (list, tuple)):
        return Sequence([node(item, place) for item in data], place)
    if isinstance(data, Secret):
        data = data.value
    value, text = _scalar(data, place)
    return Scalar(value, text, isinstance(value, (str, bytes)), place, final=True)


def duration(data: object, place: Place) -> Duration:
    """PlanError for what is no time."""
    try:
        return Duration.from_source(_scalar(data, place)[0])
    except Misfit as misfit:
        raise PlanError([Problem(place, misfit.message, misfit.advice)]) from misfit


def secrets_in(data: object) -> Iterator[Secret]:
    """Those anywhere in it."""
    if isinstance(data, Secret):
        yield data
    elif isinstance(data, Mapping):
        for item in data.values():
            yield from secrets_in(item)
    elif isinstance(data, (list, tuple)):
        for item in data:
            yield from secrets_in(item)


def _scalar(data: object, place: Place) -> tuple[Any, str]:
    """The value of a scalar, and how a plan would write it."""
    if data is None or isinstance(data, bool):
        return data, "null" if data is None else str(data).lower()
    if isinstance(data, (int, Decimal)) or (isinstance(data, float) and math.isfinite(data)):
        number = Decimal(repr(data)) if isinstance(data, float) else data
        return number, str(number)
    if isinstance(data, (bytes, bytearray)):
        return bytes(data), data.hex(" ").upper()
    if isinstance(data, timedelta):
        data = Quantity(exact(data // timedelta(microseconds=1)) / 1_000_000, UNITS["s"])
    if isinstance(data, (Quantity, Fraction)):
        return data, data.written if isinstance(data, Quantity) else str(data)
    return _text_value(data, place)


def _text_value(data: object, place: Place) -> tuple[str, str]:
    if isinstance(data, datetime):
        data = data.replace(tzinfo=None).isoformat(timespec="seconds")
    if isinstance(data, (str, Path, UUID)):
        return str(data), str(data)
    raise _unfit(f"expected {_EXPECTED}; found {_described(data)}", place)


def _described(data: object) -> str:
    return describe_value(data) if isinstance(data, float) else f"a {type(data).__name__}"


def _key(key: object, place: Place) -> Any:
    if isinstance(key, (str, int)) and not isinstance(key, bool):
        return key
    raise _unfit(f"expected text as a key, found {_described(key)}", place)


def _text(text: str, place: Place) -> Scalar:
    return Scalar(text, text, True, place, final=True)


def _unfit(message: str, place: Place) -> PlanError:
    return PlanError([Problem(place, message, "convert it first")])
