"""One stream of a plan: which characteristic sends it, how its values read and count, the readings that it has."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import Bindable, ReadingType, decoded, types_of, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.listening import Also, Counter, Listening
from benchrig.steps.subscription import Mode, indicates, sender
from benchrig.steps.waiting import Goal
from benchrig.values.format import Format
from benchrig.values.limit import Limit

COUNTED = ("lost", "duplicated")
STREAM_READINGS: dict[str, ReadingType] = {
    "count": ReadingType("number", "", "notifications that arrived"),
    "rate": ReadingType("number", "Hz", "notifications per second from the first one on"),
    "first_after": ReadingType("number", "s", "from the subscription request to the first notification"),
    "gap_max": ReadingType("number", "s", "longest time without a notification after the first"),
    "gap_p95": ReadingType("number", "s", "95th percentile of the gaps, to 1 %"),
    "lost": ReadingType("number", "", "values that the counter shows to be missing"),
    "duplicated": ReadingType("number", "", "values that the counter shows to have come again"),
    "throughput": ReadingType("number", "kbit/s", "value bytes per second from the first notification on"),
    "length": ReadingType("number", "bytes", "length of each value", many=True),
}


@dataclass(frozen=True)
class Streamed:
    """What a characteristic sends, as a step has it. `prefix` stands before the names of its readings."""

    name: AttributeName
    counter: str | None = None
    mode: Mode | None = None
    own_format: Format | None = None
    prefix: str = ""

    def readings(self, names: Names) -> dict[str, ReadingType] | None:
        """None when they are known only in the run. Misfit."""
        value = value_readings(names, self.name, self.own_format)
        if value is None:
            return None
        if self.counter is not None:
            counter_of(self.own_format or names.meaning(self.name).format, self.counter)
        many = {name: replace(kind, many=True) for name, kind in value.items()}
        return {f"{self.prefix}{name}": kind for name, kind in (many | STREAM_READINGS).items()}

    def misfits(self, expected: Iterable[str]) -> Iterable[Misfit]:
        """Of limits on what only a counter shows."""
        for name in [f"{self.prefix}{name}" for name in COUNTED]:
            if self.counter is None and name in expected:
                yield Misfit(f"'{name}' needs a counter", "add counter: FIELD", ("expect", name))

    @contextlib.asynccontextmanager
    async def heard(
        self,
        bench: Bench,
        doing: str,
        *,
        wanted: int | None = None,
        until: Mapping[str, Limit] | None = None,
        also: Also | None = None,
    ) -> AsyncIterator[Listening]:
        """Listen while the context is open, for so many at most, and until a value satisfies these limits."""
        target = sender(bench, self.name, self.mode)
        form = self.own_format or target.format
        types = types_of(form)
        listening = Listening(
            bench,
            target.name,
            types,
            _decoder(form),
            counter=None if self.counter is None else counter_of(form, self.counter),
            wanted=wanted,
            goal=Goal(until, {**types, "length": STREAM_READINGS["length"]}) if until else None,
            also=also,
            prefix=self.prefix,
        )
        async with bench.listening(target, listening.hear, doing, indicates(self.mode)):
            yield listening


def counter_of(form: Format | None, field: str) -> Counter:
    """What counts the values by this field; 'value' for a single one. Misfit for a field that is not there, or is no
    whole number."""
    leaves = form.leaves() if form else {}
    leaf = form if field == "value" and not leaves else leaves.get(field)
    if leaf is None and (leaves or field != "value"):
        fields = f"name one of its fields: {', '.join(leaves)}" if leaves else "write counter: value"
        raise Misfit(f"the value has no field '{field}' to count by", fields, ("counter",))
    if form is None or leaf is None or leaf.counts < 4:
        what = leaf.describe() if leaf else "plain bytes"
        raise Misfit(
            f"'{field}' is {what}; only a whole number of 2 bits or more counts up",
            "name a field that is one, or give the attribute its format",
            ("counter",),
        )
    return Counter(form, field, leaf)


def _decoder(form: Format | None) -> Callable[[bytes], dict[str, Any]]:
    return lambda data: decoded(form, data)


def says_how_few(limit: Bindable | None) -> bool:
    """Whether a limit on the count has a least, or wants silence: an upper bound alone holds for silence too."""
    if limit is None:
        return False
    bound = limit.bind("number")
    return bound.low is not None or not bound.passes(1)


def of_one_sample(types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
    """Those of the readings that one value has, for a limit on it alone."""
    return {name: replace(kind, many=False) for name, kind in types.items() if kind.many}
