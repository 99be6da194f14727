"""`benchrig line run`: a shift at a line."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig import signals
from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import grouped
from benchrig.cli.options import flag, history_option, option, path_option, real_time_option, seed_option
from benchrig.cli.out import echo, tell, whatever_the_output_does
from benchrig.cli.types import Time
from benchrig.errors import BenchrigError, InternalError
from benchrig.text.escape import plain

if TYPE_CHECKING:
    import asyncio

    from benchrig.line.line import Line, LineOptions

# For the last screen to be taken down.
_END_WITHIN = 2.0


@dataclass(frozen=True)
class Shift:
    """How a line is worked at: fields of LineOptions, and the sound."""

    results: Path | None
    person: str
    acknowledge: bool
    answer_within: float
    real_time: bool
    seed: int
    history: str
    bell: bool

    def options(self, *, by_hand: bool) -> LineOptions:
        from benchrig.line.line import LineOptions

        return LineOptions(
            results=self.results, person=self.person, acknowledge=self.acknowledge, real_time=self.real_time,
            seed=self.seed, answer_within=self.answer_within, history=self.history, by_hand=by_hand,
        )  # fmt: skip


_shift = grouped(
    path_option("--results", metavar="DIR", help="Where runs and the log go.  [default: results of the station file]"),
    option("--person", default="", metavar="NAME", help="Who is on shift: nobody is asked."),
    flag("--acknowledge", help="You have read the cautions of all plans and done what they say."),
    option("--answer-within", type=Time(), default="10 min", help="Stop the unit whose question nobody answers in this time."),
    real_time_option(),
    seed_option(),
    history_option(),
    flag("--bell", help="Ring the terminal's bell at each verdict and each question."),
    to="shift",
    make=Shift,
)  # fmt: skip


@click.command(short_help="Work at a line: barcodes in, verdicts out.")
@click.argument("station", type=click.Path(path_type=Path))
@_shift
def run(station: Path, shift: Shift) -> None:
    """Test units at the line of the station file STATION, on one screen: put a unit in place, scan its label, and take it
    out at its verdict. Scan END to end the shift, HELP for the other words.

    Without a terminal each line of the standard input is a label, and each thing that happens is a line of the output; the end
    of the input ends the shift. Exits with 0 in order, 2 interrupted, 7 stopped or locked at the end.

    \b
    Example:
      benchrig line run line3.yaml
      benchrig line run line3.yaml --person 'J. Holm' --acknowledge < labels.txt
    """
    if sys.stdin.isatty() and sys.stdout.isatty():
        echo(f"{plain(str(station))}: the station is being opened …")  # at once: what follows takes seconds to load
    from benchrig.line.line import Line
    from benchrig.loop import in_loop
    from benchrig.terminal import live

    with errors_for_people():
        on_screen = live.is_possible()
        line = Line(station, shift.options(by_hand=on_screen))
        factory = line.loop_factory
        signals.hold()
        in_loop(_worked(line, on_screen=on_screen, bell=shift.bell), factory)
    _summary(line)
    sys.exit(line.exit_code)


async def _worked(line: Line, *, on_screen: bool, bell: bool) -> None:
    """The shift and what shows it, until both have ended: whatever becomes of the screen, the units are finished."""
    import asyncio

    from benchrig.loop import attended_loop, outside
    from benchrig.tasks import Tasks

    # Ctrl-C on the screen is a key; a signal then says that the terminal, or the process, is to be gone
    with attended_loop(line.leave if on_screen else line.interrupt, line.stray):
        async with Tasks() as tasks:
            work = tasks.start(line.run())
            showing = tasks.start(_shown(line, on_screen=on_screen, bell=bell))
            await asyncio.wait([work, showing], return_when=asyncio.FIRST_COMPLETED)
            if not work.done():
                if showing.exception() is not None:
                    line.leave()
                await asyncio.wait([work])
            if not showing.done() and work.exception() is None:
                with outside():
                    await asyncio.wait([showing], timeout=_END_WITHIN)
            await _told(work)
            if showing.done():
                await showing


async def _told(work: asyncio.Task[None]) -> None:
    """An operator has no use for a traceback: the line keeps what it can of one among its results."""
    try:
        await work
    except BenchrigError:
        raise
    except Exception as error:
        raise InternalError(f"the line broke: {type(error).__name__}: {error}") from error


async def _shown(line: Line, *, on_screen: bool, bell: bool) -> None:
    if on_screen:
        from benchrig.line_screen.screen import show

        await show(line, bell=bell)
    else:
        from benchrig.cli.line_piped import told

        await told(line)


def _summary(line: Line) -> None:
    from benchrig.cli.line_text import summary

    view = line.view()
    with whatever_the_output_does():
        echo(summary(view))
    for text in (view.message, *view.notes):
        if text:
            tell(f"benchrig: {text}")
