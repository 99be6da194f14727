"""read: one attribute, once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from benchrig.errors import AttError
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import SECONDS, ReadingType, Step, value_readings
from benchrig.steps.bench import Bench
from benchrig.values.format import Format, build_format
from benchrig.values.spec import FormatSpec

ATT_ERROR = ReadingType("text", "", "name of the ATT error the device answered with; 'none' when there was none")


_READINGS = {
    "raw": ReadingType("bytes", "", "the bytes as they came"),
    "length": ReadingType("number", "bytes", "how many bytes came"),
    "elapsed": SECONDS,
    "att_error": ATT_ERROR,
}


class Read(Step, kw_only=True):
    """Read a characteristic or descriptor."""

    verb: ClassVar[str] = "read"

    read: AttributeName
    format: FormatSpec | None = None

    def own_format(self) -> Format | None:
        return build_format(self.format) if self.format else None

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        value = value_readings(names, self.read, self.own_format())
        if value is None:
            return None
        return value | _READINGS

    async def run(self, bench: Bench) -> None:
        target = bench.target(self.read, ("read",))
        started = bench.now()
        try:
            data = await bench.link.read(target.found.attribute, self.title, bench.time_left)
        except AttError as error:
            if not bench.wanted("att_error"):
                raise
            bench.reading("att_error", error.name)
            return
        report_elapsed(bench, started)
        if bench.wanted("att_error"):
            bench.reading("att_error", "none")
        if bench.wanted("raw"):
            bench.reading("raw", data, raw=data)
        if bench.wanted("length"):
            bench.reading("length", len(data), "bytes")
        bench.value(data, target, own=self.own_format())


def report_elapsed(bench: Bench, started: float) -> None:
    if bench.wanted("elapsed"):
        bench.reading("elapsed", bench.since(started), "s")
