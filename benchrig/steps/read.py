"""read: one attribute, once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import SECONDS, ReadingType, Step, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.refusal import ATT_ERROR, answered, is_withheld, request_target
from benchrig.values.format import Format, FormatSpec

_READINGS = {
    "raw": ReadingType("bytes", "", "the bytes as they arrived"),
    "length": ReadingType("number", "bytes", "number of bytes"),
    "elapsed": SECONDS,
    "att_error": ATT_ERROR,
}


class Read(Step, kw_only=True):
    """Read a characteristic or descriptor."""

    verb: ClassVar[str] = "read"

    read: AttributeName
    format: FormatSpec | None = None

    def own_format(self) -> Format | None:
        return self.format.built if self.format else None

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        value = value_readings(names, self.read, self.own_format())
        if value is None:
            return None
        return value | _READINGS

    async def run(self, bench: Bench) -> None:
        target = request_target(bench, self, self.read, ("read",))
        if is_withheld(bench):
            return
        started = bench.now()
        with answered(bench, self) as answer:
            data = await bench.link.read(target.found.attribute, self.title, bench.time_left)
        if answer.refused:
            return
        report_elapsed(bench, started)
        if bench.wanted("raw"):
            bench.reading("raw", data, raw=data)
        if bench.wanted("length"):
            bench.reading("length", len(data), "bytes")
        bench.value(data, target, own=self.own_format())


def report_elapsed(bench: Bench, started: float) -> None:
    if bench.wanted("elapsed"):
        bench.reading("elapsed", bench.since(started), "s")
