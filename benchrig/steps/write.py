"""write: a value to one attribute, read back on request, or a file in pieces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import ClassVar

from benchrig.errors import MalformedValue, UnfitValue
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import SECONDS, ReadingType, Step, value_readings
from benchrig.steps.bench import Bench, Target
from benchrig.steps.loss import LOSS
from benchrig.steps.payload import LONGEST, misfit_of, sent_by, why_not_kept
from benchrig.steps.refusal import ATT_ERROR, answered, is_withheld, request_target, unanswered
from benchrig.steps.size import Size
from benchrig.steps.transfer import Transfer, check_size, file_bytes
from benchrig.values.format import FormatSpec
from benchrig.values.limit_keys import AnyValue

# Seconds that a file may take.
FILE_WITHIN = 60.0
_OF_PIECES = {
    "count": ReadingType("number", "", "pieces that were sent"),
    "throughput": ReadingType("number", "kbit/s", "bits of the file over the time that it took"),
}


class Write(Step, kw_only=True):
    """Write a characteristic or descriptor: `value` in its format, `raw` as hex bytes, or the bytes of a `file`."""

    verb: ClassVar[str] = "write"
    may_lose: ClassVar[bool] = True
    writes: ClassVar[bool] = True
    shown: ClassVar[dict[str, str]] = {"file": "would be the name of a file in the record"}
    echoes: ClassVar[frozenset[str]] = frozenset({"value"})

    write: AttributeName
    value: AnyValue | None = None
    raw: str | None = None
    file: str | None = None
    pieces: Size | None = None
    format: FormatSpec | None = None
    response: bool = True
    read_back: bool = False

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if [self.value, self.raw, self.file].count(None) != 2:
            yield Misfit("a write needs either value, raw or file", "for example: raw: '01 A0'")
        yield from self._piece_misfits()
        if self.read_back and not self.response:
            yield Misfit("read_back needs a write with response", path=("read_back",))
        if self.read_back and self.loses:
            yield Misfit("read_back needs the link that is meant to end in this step", path=("read_back",))
        if not self.response:
            yield from unanswered(self)

    def _piece_misfits(self) -> Iterable[Misfit]:
        if self.pieces is None:
            return
        if self.file is None:
            yield Misfit("pieces needs a file", "add file: NAME", ("pieces",))
        if self.read_back:
            yield Misfit("what is written in pieces cannot be read back", path=("read_back",))
        if self.pieces.number is not None and self.pieces.number > LONGEST:
            advice = f"write {LONGEST} or less, or payload"
            yield Misfit(f"a piece has at most {LONGEST} bytes, not {self.pieces}", advice, ("pieces",))

    def file_misfits(self, folder: Path) -> Iterable[Misfit]:
        if self.file is not None:
            try:
                check_size(self.file, file_bytes(folder, self.file), self.pieces)
            except UnfitValue as error:
                yield Misfit(error.message, error.advice, ("file",))

    @property
    def deadline(self) -> float:
        """A file takes longer than a value."""
        default = FILE_WITHIN if self.file is not None else self.within_default
        return self.within.seconds if self.within is not None else default * self.attempts

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        form = self.format.built if self.format else names.meaning(self.write).format
        if self.file is None and (form is not None or self.raw is not None):
            misfit = misfit_of(self, form, self.value, self.raw)
            if misfit:
                raise misfit
        own = {"elapsed": SECONDS, "att_error": ATT_ERROR, **(_OF_PIECES if self.pieces else {}), **LOSS}
        if not self.read_back:
            return own
        value = value_readings(names, self.write, form)
        return None if value is None else own | value

    @property
    def _needs(self) -> tuple[str, ...]:
        return ("write", "reliable write") if self.response else ("write without response",)

    async def run(self, bench: Bench) -> None:
        target = request_target(bench, self, self.write, self._needs)
        if self.pieces is not None:
            await self._send_pieces(bench, target, self.pieces)
            return
        form = self.format.built if self.format else target.format
        data = self._file(bench) if self.file else sent_by(self, form, self.value, self.raw)
        if is_withheld(bench, target, self._needs):
            return
        bench.note(f"sends {data.hex(' ').upper() or '(no bytes)'}", data)
        bench.acts()
        started = bench.now()
        attribute = target.found.attribute
        with answered(bench, self, data) as answer:
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

    def _file(self, bench: Bench) -> bytes:
        data = file_bytes(bench.plan_folder, self.file or "")
        check_size(self.file or "", data, self.pieces)
        return data

    async def _send_pieces(self, bench: Bench, target: Target, pieces: Size) -> None:
        data = self._file(bench)
        if is_withheld(bench, target, self._needs):
            return
        size = min(LONGEST, pieces.of(await bench.link.settled_payload()))
        transfer = Transfer(bench, target.found.attribute, data, size, self.response, bench.may_lose)
        bench.note(transfer.note(self.file or ""))
        started = bench.now()
        with answered(bench, self) as answer:
            await transfer.run(self.title)
        if not answer.refused:
            self._report_pieces(bench, transfer, bench.since(started))

    def _report_pieces(self, bench: Bench, transfer: Transfer, elapsed: float) -> None:
        bench.reading("elapsed", elapsed, "s")
        if bench.wanted("count"):
            bench.reading("count", transfer.sent)
        if bench.wanted("throughput"):
            rate = round(8 * len(transfer.data) / elapsed / 1000, 6) if elapsed else None
            bench.reading("throughput", rate, "kbit/s", why="it took no time")
