"""Bytes of one attribute -> its value in a device file: one that stays, or how it moves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate, pairwise
from statistics import fmean, multimode, stdev
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.propose.numeric import is_counter
from benchrig.radio.virtual.value_reading import source_of, steps_of
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.source.writing import Quoted, decimal_text
from benchrig.study.tolerance import Group
from benchrig.values.base import Format, flat
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import exact
from benchrig.values.units import dimension_of

# Of values that are no measurement so many are told one by one.
MOST_TOLD = 32
# Fewer show no deviation.
ENOUGH = 10
# Two digits of a standard deviation are all that it is worth.
_DIGITS = 2


@dataclass(frozen=True)
class Valued:
    """What stands at `value` or `raw`, and where it is from; `moves`: it is not the same at any time."""

    keys: dict[str, Any]
    says: str
    moves: bool = False


def constant(form: Format | None, data: bytes) -> dict[str, Any]:
    """One value: as its format says it, else its bytes."""
    plain = None if form is None else plain_of(form, data)
    return {"raw": Quoted(data.hex(" ").upper())} if plain is None else {"value": plain}


def plain_of(form: Format, data: bytes) -> Any:
    """The value that a device file writes for these bytes; None where none gives just them."""
    try:
        plain = _plain(form.decode(data), form, "")
        source = source_of(plain, form)
        made = form.encode(source.pattern.examples()[0])
    except (MalformedValue, Misfit, ValueError, IndexError):
        return None
    return plain if made == data and "${" not in str(plain) else None


def _plain(value: Any, form: Format, path: str) -> Any:
    if isinstance(value, Mapping):
        return {name: _plain(part, form, f"{path}.{name}" if path else name) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part, form, path) for part in value]
    return scalar(value, _leaf(form, path))


def _leaf(form: Format, path: str) -> Format:
    return form.leaves().get(path, form) if path else form


def scalar(value: Any, leaf: Format) -> Any:
    """A single value with its unit."""
    if isinstance(value, (bytes, bytearray)):
        return bytes(value).hex(" ").upper()
    if isinstance(value, (bool, str)) or value is None:
        return value
    text = decimal_text(exact(value))
    if text is None:
        raise ValueError(f"{value} has too many digits")
    return f"{text} {leaf.unit}" if leaf.unit else Decimal(text) if "." in text else int(text)


def moving(form: Format | None, rows: Sequence[Sequence[bytes]]) -> Valued:
    """Of values in the order in which they came, a row for each time that somebody listened or looked. At least one value."""
    seen = [data for row in rows for data in row]
    if len(set(seen)) == 1:
        return Valued(constant(form, seen[0]), f"{counted(len(seen), 'value')}, all alike")
    decoded = None if form is None else _decoded(form, rows)
    if form is None or decoded is None:
        return _told(form, seen)
    try:
        parts = {name: _part(_leaf(form, name), [*_columns(decoded, name)]) for name in decoded[0][0]}
    except (ValueError, KeyError):
        return _told(form, seen)
    plain = {"": ""} if not parts else _nested({name: keys for name, (keys, _) in parts.items()})
    whole = plain.get("", plain)
    says = "; ".join(f"{name}: {why}" if name else why for name, (_, why) in parts.items())
    return Valued({"value": whole}, says, moves=True) if _fits(whole, form) else _told(form, seen)


def numbers_in(form: Format | None, row: Sequence[bytes]) -> list[int] | None:
    """How the values of one row count, from 0 on; None where nothing in them does."""
    decoded = None if form is None else _decoded(form, [row])
    if form is None or not decoded:
        return None
    for name in decoded[0][0]:
        leaf, column = _leaf(form, name), [value[name] for value in decoded[0]]
        if isinstance(leaf, IntegerFormat) and not leaf.unit and is_counter({"": column}, leaf):
            steps = [int((later - earlier) / leaf.scale) % 2**leaf.bits for earlier, later in pairwise(column)]
            usual = min(multimode(steps), key=abs) or 1
            return [0, *accumulate(step // usual for step in steps)]
    return None


def _fits(value: Any, form: Format) -> bool:
    try:
        source_of(value, form)
    except (Misfit, MalformedValue):
        return False
    return True


def _decoded(form: Format, rows: Sequence[Sequence[bytes]]) -> list[list[dict[str, Any]]] | None:
    """Every value field by field; None where one is malformed, or another structure than the others."""
    try:
        made = [[_fields(form.decode(data)) for data in row] for row in rows if row]
    except MalformedValue:
        return None
    return made if len({tuple(value) for row in made for value in row}) == 1 else None


def _fields(value: Any) -> dict[str, Any]:
    return flat(value) if isinstance(value, dict) else {"": value}


def _columns(rows: list[list[dict[str, Any]]], name: str) -> Iterator[list[Any]]:
    return ([value[name] for value in row] for row in rows)


def _nested(flat_keys: Mapping[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name, value in flat_keys.items():
        *outer, last = name.split(".")
        inner = made
        for part in outer:
            inner = inner.setdefault(part, {})
        inner[last] = value
    return made


def _part(leaf: Format, rows: Sequence[Sequence[Any]]) -> tuple[Any, str]:
    """A value, or how it moves, and where that is from. ValueError, Misfit for what has no words."""
    seen = [value for row in rows for value in row]
    if all(value == seen[0] for value in seen):
        return scalar(seen[0], leaf), f"{counted(len(seen), 'value')}, all alike"
    if all(isinstance(value, (int, float, Fraction, Decimal)) and not isinstance(value, bool) for value in seen):
        return _number(leaf, [[float(value) for value in row] for row in rows])
    return {"sequence": [scalar(value, leaf) for value in _first(seen)]}, _in_turn(seen)


def _number(leaf: Format, rows: Sequence[Sequence[float]]) -> tuple[Any, str]:
    seen = [value for row in rows for value in row]
    if is_counter({str(number): row for number, row in enumerate(rows)}, leaf):
        longest = max(rows, key=len)
        step = exact(min(multimode([later - earlier for earlier, later in pairwise(longest)]), key=abs))
        if step > 0 and not (leaf.unit and dimension_of(leaf.unit) != "time"):
            keys = {"start": scalar(longest[0], leaf), "step": scalar(step, leaf)}
            return {"counter": keys}, f"{counted(len(seen), 'value')} that count by {step}"
    if _are_few(leaf, seen):
        return {"sequence": [scalar(value, leaf) for value in _first(seen)]}, _in_turn(seen)
    return noise(leaf, Group.of(seen))


def _are_few(leaf: Format, seen: Sequence[float]) -> bool:
    """Whether they are some values again and again, or too few for a deviation: noise would tell of others."""
    different = len(set(seen))
    if len(seen) < ENOUGH or (not leaf.unit and isinstance(leaf, IntegerFormat) and different <= MOST_TOLD):
        return True
    size = steps_of(leaf).size
    # noise falls on about so many different ones
    usual = len(seen) if size is None else min(len(seen), 2 * stdev(seen) / float(size))
    return different < usual / 2


def noise(leaf: Format, group: Group) -> tuple[Any, str]:
    """Of numbers that spread."""
    decimals = max(0, _DIGITS - 1 - math.floor(math.log10(group.sd))) if group.sd else 0
    mean = steps_of(leaf).nearest(round(Fraction(group.mean), decimals))
    words = {"mean": mean, "sd": round(Fraction(group.sd), decimals)}
    said = {key: scalar(number, leaf) for key, number in words.items()}
    ends = f"{scalar(exact(group.minimum), leaf)} to {scalar(exact(group.maximum), leaf)}"
    return {"noise": said}, f"{counted(group.count, 'value')}, {ends}"


def counter(leaf: Format, first: float) -> tuple[Any, str]:
    """Of numbers that a plan counts by."""
    return {"counter": {"start": scalar(exact(first), leaf)}}, "the plan counts by it"


def _first(seen: Sequence[Any]) -> list[Any]:
    """In their order, none twice in a row."""
    made = [seen[0], *(later for earlier, later in pairwise(seen) if later != earlier)]
    return made[:MOST_TOLD]


def _told(form: Format | None, seen: Sequence[bytes]) -> Valued:
    """The values themselves, one after the other."""
    plain = [None if form is None else plain_of(form, data) for data in _first(seen)]
    if form is None or any(each is None for each in plain):
        return Valued(constant(None, seen[0]), f"the first of {counted(len(seen), 'value')}; others differ", moves=True)
    return Valued({"value": {"sequence": plain}}, _in_turn(seen), moves=True)


def _in_turn(seen: Sequence[Any]) -> str:
    more = "; more are left out" if len(_first(seen)) == MOST_TOLD else ""
    return f"{counted(len(seen), 'value')} in the order of arrival, then from the first again (guess){more}"


def deviation(numbers: Sequence[float]) -> tuple[float, float]:
    """Mean and standard deviation, 0 for a single one."""
    return fmean(numbers), stdev(numbers) if len(numbers) > 1 else 0.0
