"""The console of the unit as a stream of a listen step: each line is a sample, and so is what a pattern finds in it."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from benchrig.source.shape import Misfit
from benchrig.steps.base import ReadingType
from benchrig.steps.console import console_of
from benchrig.steps.found import Groups
from benchrig.steps.listening import Also, Listening
from benchrig.steps.stream import COUNTED, STREAM_READINGS
from benchrig.values.limit import Limit

if TYPE_CHECKING:
    from benchrig.console.lines import Line
    from benchrig.errors import BenchrigError
    from benchrig.steps.attribute import Names
    from benchrig.steps.bench import Bench

_LINE = ReadingType("text", "", "each line")


@dataclass(frozen=True)
class ConsoleLines:
    """Of those lines that match the `pattern`, '' for all. `limits` are those of the step, by whole names that begin with
    `prefix`."""

    prefix: str
    pattern: str
    limits: Mapping[str, Any]

    @cached_property
    def _own_limits(self) -> dict[str, Any]:
        held = self.limits.items()
        return {name.removeprefix(self.prefix): limit for name, limit in held if name.startswith(self.prefix)}

    @cached_property
    def groups(self) -> Groups:
        return Groups(self.pattern, [self._own_limits])

    @property
    def _samples(self) -> dict[str, ReadingType]:
        return {"line": _LINE, **self.groups.types}

    def readings(self, names: Names) -> dict[str, ReadingType]:
        streams = {name: replace(kind, many=True) for name, kind in self._samples.items()}
        whole = {name: kind for name, kind in STREAM_READINGS.items() if name not in COUNTED}
        return {f"{self.prefix}{name}": kind for name, kind in (streams | whole).items()}

    def misfits(self, expected: Iterable[str]) -> Iterable[Misfit]:
        for name in self.groups.names:
            if name in {"line", *STREAM_READINGS}:
                message = f"the group '{name}' is called as a reading of the console"
                yield Misfit(message, "give the group another name", ("listen", "console", "matches"))

    @contextlib.asynccontextmanager
    async def heard(self, bench: Bench, doing: str, *, also: Also) -> AsyncIterator[Listening]:
        console = console_of(bench)
        listening = Listening(
            bench, "console", self._samples, self._decoded, also=also, prefix=self.prefix, noun="line"
        )

        def hear(line: Line) -> None:
            if self.groups.fits(line.text):
                listening.hear(line.text.encode("utf-8", "surrogatepass"))

        def gone(error: BenchrigError) -> None:
            if listening.error is None and not listening.over.is_set():
                listening.error = error

        with console.listening(hear, gone):
            if console.gone is not None:
                raise console.gone
            yield listening
        if console.is_proven:
            listening.may_be_silent = True
            listening.may_be_empty = frozenset(n for n, limit in self._own_limits.items() if asks_for_absence(limit))

    def _decoded(self, data: bytes) -> dict[str, Any]:
        text = data.decode("utf-8", "surrogatepass")
        values = {name: value for name, value, _ in self.groups.values(text) if value is not None}
        return {"line": text, **values}


def asks_for_absence(limit: Any) -> bool:
    """Whether a console that printed nothing satisfies it."""
    return isinstance(limit, Limit) and limit.asks_for_absence
