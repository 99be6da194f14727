"""read: one attribute, once, or again until its value is what is waited for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from benchrig.errors import AttError
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import SECONDS, ReadingType, decoded, types_of, value_readings
from benchrig.steps.bench import Bench, Target
from benchrig.steps.refusal import ATT_ERROR, NONE, answered, is_withheld, request_target
from benchrig.steps.waiting import Polling
from benchrig.values.format import Format, FormatSpec

_NEEDS = ("read",)
_READINGS = {
    "raw": ReadingType("bytes", "", "the bytes as they arrived"),
    "length": ReadingType("number", "bytes", "number of bytes"),
    "elapsed": SECONDS,
    "att_error": ATT_ERROR,
}


class Read(Polling, kw_only=True):
    """Read a characteristic or descriptor."""

    verb: ClassVar[str] = "read"
    usual: ClassVar[str] = "value"
    reads: ClassVar[bool] = True

    read: AttributeName
    format: FormatSpec | None = None

    def own_format(self) -> Format | None:
        return self.format.built if self.format else None

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        value = value_readings(names, self.read, self.own_format())
        if value is None:
            return None
        return value | _READINGS | self.waiting_readings()

    async def run(self, bench: Bench) -> None:
        target = request_target(bench, self, self.read, _NEEDS)
        if is_withheld(bench, target, _NEEDS):
            return
        form = self.own_format() or target.format
        with answered(bench, self) as reply:
            answer = await self.settled(bench, {**types_of(form), **_READINGS}, lambda: self._ask(bench, target, form))
        if reply.refused:
            return
        if bench.wanted("elapsed"):
            bench.reading("elapsed", answer.elapsed, "s")
        if bench.wanted("raw"):
            bench.reading("raw", answer.data, raw=answer.data)
        if bench.wanted("length"):
            bench.reading("length", len(answer.data), "bytes")
        bench.value(answer.data, target, own=self.own_format())

    async def _ask(self, bench: Bench, target: Target, form: Format | None) -> _Answer:
        started = bench.now()
        try:
            data = await bench.link.read(target.found.attribute, self.title, bench.time_left)
        except AttError as error:
            if "att_error" in self.until:
                return _Answer(b"", bench.since(started), None, error)
            raise
        return _Answer(data, bench.since(started), form)


@dataclass(frozen=True)
class _Answer:
    """What the device gave, of this format, or that it refused."""

    data: bytes
    elapsed: float
    form: Format | None
    refusal: AttError | None = None

    @property
    def found(self) -> Mapping[str, Any]:
        """Bytes that do not fit the format have no value, and satisfy nothing."""
        if self.refusal is not None:
            return {"att_error": self.refusal.name}
        plain = {"raw": self.data, "length": len(self.data), "elapsed": self.elapsed, "att_error": NONE}
        return decoded(self.form, self.data) | plain
