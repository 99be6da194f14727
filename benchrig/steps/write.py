"""write: a value to one attribute, read back on request."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from benchrig.errors import MalformedValue
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import SECONDS, ReadingType, Step, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.loss import LOSS
from benchrig.steps.payload import misfit_of, sent_by, why_not_kept
from benchrig.steps.refusal import ATT_ERROR, answered, is_withheld, request_target, unanswered
from benchrig.values.format import FormatSpec
from benchrig.values.limit_keys import AnyValue


class Write(Step, kw_only=True):
    """Write a characteristic or descriptor: `value` in its format, or `raw` as hex bytes."""

    verb: ClassVar[str] = "write"
    may_lose: ClassVar[bool] = True
    writes: ClassVar[bool] = True
    echoes: ClassVar[frozenset[str]] = frozenset({"value"})

    write: AttributeName
    value: AnyValue | None = None
    raw: str | None = None
    format: FormatSpec | None = None
    response: bool = True
    read_back: bool = False

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.value is None) == (self.raw is None):
            yield Misfit("a write needs either value or raw", "for example: raw: '01 A0'")
        if self.read_back and not self.response:
            yield Misfit("read_back needs a write with response", path=("read_back",))
        if self.read_back and self.loses:
            yield Misfit("read_back needs the link that is meant to end in this step", path=("read_back",))
        if not self.response:
            yield from unanswered(self)

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        form = self.format.built if self.format else names.meaning(self.write).format
        if form is not None or self.raw is not None:
            misfit = misfit_of(self, form, self.value, self.raw)
            if misfit:
                raise misfit
        own = {"elapsed": SECONDS, "att_error": ATT_ERROR, **LOSS}
        if not self.read_back:
            return own
        value = value_readings(names, self.write, form)
        return None if value is None else own | value

    async def run(self, bench: Bench) -> None:
        needs = ("write", "reliable write") if self.response else ("write without response",)
        target = request_target(bench, self, self.write, needs)
        form = self.format.built if self.format else target.format
        data = sent_by(self, form, self.value, self.raw)
        if is_withheld(bench):
            return
        bench.note(f"sends {data.hex(' ').upper() or '(no bytes)'}", data)
        bench.acts()
        started = bench.now()
        attribute = target.found.attribute
        with answered(bench, self) as answer:
            await bench.link.write(attribute, data, self.title, bench.time_left, response=self.response)
        if answer.refused:
            return
        bench.device.learn(attribute, data)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        if self.read_back:
            back = await bench.link.read(attribute, f"read back {self.write}", bench.time_left)
            bench.value(back, target, own=form)
            if wrong := why_not_kept(form, data, back):
                raise MalformedValue(
                    wrong,
                    tells="value",
                    advice="put a limit on the value instead, if the device is meant to change it",
                )
