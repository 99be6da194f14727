"""Values that should move and do not, or move otherwise."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.faults.fault import Fault, Weight
from benchrig.faults.leaves import Leaf
from benchrig.faults.mutation import Change, replaced
from benchrig.radio.virtual.sources import Constant, Counter, Noise, Ramp, States
from benchrig.values.base import Format
from benchrig.values.quantity import Duration, exact, is_number, number_text

_SLOW = 3


def faults(leaf: Leaf) -> Iterator[Fault]:
    pattern = leaf.pattern
    if pattern is None or isinstance(pattern, Constant) or leaf.form is None or leaf.spec.raw is not None:
        return
    yield from _stuck(leaf)
    if isinstance(pattern, Counter):
        yield from _counter(leaf, pattern)
    if isinstance(pattern, Noise):
        wide = {"noise": {"mean": said(pattern.mean, leaf.form), "sd": said(pattern.sd * 10, leaf.form)}}
        yield leaf.fault("noisy", "scatters ten times as much.", valued(leaf, wide))
    if isinstance(pattern, (Ramp, States)):
        yield leaf.fault("three times as slow", "takes three times as long.", valued(leaf, _slower(_given(leaf))))


def _stuck(leaf: Leaf) -> Iterator[Fault]:
    """At the first value that it has; a copy gives it, for a pattern goes on with each."""
    assert leaf.pattern is not None
    assert leaf.form is not None
    try:
        first = leaf.form.decode(leaf.form.encode(copy.deepcopy(leaf.pattern).take(0.0, random.Random(0))))
    except MalformedValue:
        return
    yield leaf.fault("stuck", "never changes.", valued(leaf, said(first, leaf.form)))


def _counter(leaf: Leaf, pattern: Counter) -> Iterator[Fault]:
    kinds: list[tuple[str, str, dict[str, Fraction], Weight]] = [
        ("counts by two", "skips every second number.", {"step": pattern.step * 2}, "serious"),
        ("counts down", "counts down.", {"step": -pattern.step}, "serious"),
        ("starts again early", "starts again after 16 values.", {"modulo": pattern.step * 16}, "serious"),
        ("starts elsewhere", "starts one later than it should.", {"start": pattern.start + pattern.step}, "minor"),
    ]
    for kind, says, keys, weight in kinds:
        given = {"start": pattern.start, "step": pattern.step} | keys
        counter = {key: said(one, leaf.form) for key, one in given.items()}
        yield leaf.fault(kind, says, valued(leaf, {"counter": counter}), weight)


def said(value: Any, form: Format | None) -> Any:
    """As a device file has it."""
    if isinstance(value, bytes):
        return value.hex()
    if not is_number(value):
        return value
    number, unit = exact(value), form.unit if form else ""
    whole = int(number) if number.denominator == 1 else Decimal(number_text(number))
    return f"{number_text(number)} {unit}" if unit else whole


def valued(leaf: Leaf, value: Any) -> Change:
    """This value, or this field of it."""
    return replaced(value=_put(leaf.spec.value, leaf.field.split("."), value) if leaf.field else value)


def _put(tree: Any, names: list[str], value: Any) -> Any:
    first, *rest = names
    return {**tree, first: _put(tree[first], rest, value) if rest else value}


def _given(leaf: Leaf) -> Any:
    tree = leaf.spec.value
    for name in leaf.field.split(".") if leaf.field else ():
        tree = tree[name]
    return tree


def _slower(value: Any) -> Any:
    """Every time in it three times as long."""
    if isinstance(value, Mapping):
        return {key: _times(one) if key in ("for", "over") else _slower(one) for key, one in value.items()}
    return [_slower(one) for one in value] if isinstance(value, list) else value


def _times(written: Any) -> str:
    return str(Duration.of(Duration.from_source(written).seconds * _SLOW))
