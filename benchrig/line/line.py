"""The controller of a line: texts in, units tested, a view out.

```
line = Line(Path("line3.yaml"), LineOptions())
in_loop(shift(line), line.loop_factory)

async def shift(line: Line) -> int:
    with attended_loop(line.interrupt, line.stray):
        async with Tasks() as tasks:
            work = tasks.start(line.run())     # PlanError, StationError where the shift cannot begin
            ...await line.read(text)...        # each line that was scanned or typed
            await work
    return line.exit_code
```

All of it lives in one loop. `read` only puts a text into a queue; one task takes them in order, and never waits for a
unit. Each unit has a task of its own (`passage.py`), from its label to its verdict. What happened is written to the
journal of the line before anything is shown.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path

from benchrig.launch import PreparedRun
from benchrig.line.view import LineView
from benchrig.loop import Factory
from benchrig.report.brought import all_reports
from benchrig.report.registry import ReportChoice


@dataclass(frozen=True)
class LineOptions:
    """How a line is worked at. `results` stands in for that of the station file; `person` is on shift without a badge;
    `acknowledge`: that person has read all cautions; `answer_within`: the seconds that a question waits."""

    results: Path | None = None
    person: str = ""
    acknowledge: bool = False
    real_time: bool = False
    seed: int = 0
    answer_within: float = 600.0
    history: str = ""
    reports: tuple[ReportChoice, ...] = field(default_factory=all_reports)


class Line:
    """One shift at one station. `changed` is set in the loop when `view` gives something else. `exit_code` is that of the
    shift once it is over: 0 in order, 2 interrupted, 3 a bug, 7 stopped or locked at its end."""

    def __init__(self, file: Path, options: LineOptions | None = None) -> None:
        self.file = file
        self.options = options or LineOptions()
        self.changed = asyncio.Event()
        self.exit_code = 0
        self._running: dict[str, PreparedRun] = {}

    @property
    def loop_factory(self) -> Factory | None:
        """What makes the loop; None for asyncio's own. PlanError for a station file with mistakes."""
        raise NotImplementedError

    async def run(self) -> None:
        """From the opening of the radios to the end of the shift. PlanError with all mistakes of the files and
        StationError where it cannot begin; what happens later is in the view and the journal."""
        raise NotImplementedError

    async def read(self, text: str) -> None:
        """A line that was scanned or typed: a badge, a label, a word, an answer. Does not wait; nothing is lost."""
        raise NotImplementedError

    def finish(self) -> None:
        """No more lines: what was read is done, and the shift ends."""
        raise NotImplementedError

    def interrupt(self) -> None:
        """End the runs in order; called twice, without their finally steps."""
        raise NotImplementedError

    def stray(self, error: str) -> None:
        """An error was raised where nobody waited for it: no verdict of a run at work counts, and the line stops."""
        raise NotImplementedError

    def view(self) -> LineView:
        """What a screen shows now."""
        raise NotImplementedError
