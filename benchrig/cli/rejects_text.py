"""What good units came to, in the terminal: who was rejected and why, which limits are too tight, all limits."""

from __future__ import annotations

from collections.abc import Sequence

from benchrig.cli.study_text import StudyPage
from benchrig.cli.text_page import LONGEST
from benchrig.escapes.telling import step_words
from benchrig.rejects.results import LimitSeen, Rejects, UnitRun
from benchrig.rejects.telling import interval_words, number, percent, proposal_words, summary
from benchrig.source.problem import counted
from benchrig.text.escape import plain
from benchrig.text.tables import print_table


class RejectsPage(StudyPage):
    def show(self, made: Rejects, *, at_length: bool) -> None:
        last = made.first + made.asked - 1
        units = f"units {made.first} to {last}" if made.asked > 1 else f"unit {made.first}"
        how = f"{units}, seed {made.seed}, air {made.air}"
        self._head(made, how)
        for sentence in made.failed:
            self._line(f"NOT TESTED  {sentence}", style="bold white on red")
        if at_length:
            for run in made.rejected:
                self._at_length(run)
        else:
            self._rejecting(made)
            self._tight(made)
            self._limits(made)
            self._idle(made)
        self._end(made)

    def _at_length(self, run: UnitRun) -> None:
        self._title(f"REJECTED  unit {run.number}", "bold red")
        self._line(f"verdict {run.came.verdict} after {run.came.elapsed:.3f} s, seed of the run {run.seed}", indent=4)
        for catch in (run.came.by, *run.came.also):
            if catch is not None:
                self._line(f"{step_words(catch)}: {catch.message} (cause {catch.cause})", indent=4)

    def _rejecting(self, made: Rejects) -> None:
        if not made.steps:
            return
        self._title(f"REJECTED  {counted(len(made.rejected), 'good unit')}", "bold red")
        for each in made.steps:
            step = f"step {each.node} {each.step}" if each.node else "the run as a whole"
            where = f"{step}, {each.reading}" if each.reading else f"{step}, its end ({each.cause})"
            self._line(f"{each.rate.hits} of {each.rate.trials}: {where}", style="bold")
            self._line(f"{percent(each.rate.share)}, {interval_words(each.rate, made.confidence)}", indent=4)
            units = ", ".join(map(str, each.units)) + (", …" if each.rate.hits > len(each.units) else "")
            self._line(f"unit {each.units[0]}: {each.message}", indent=4)
            self._line(f"units {units}; one again: --unit {each.units[0]}", indent=4, style="dim")

    def _tight(self, made: Rejects) -> None:
        if not made.tight:
            return
        self._title(f"TOO TIGHT for {percent(made.asked_rate)}", "bold yellow")
        for each in made.tight:
            self._line(f"step {each.node} {each.step}, {each.reading}: {percent(each.rate.share)} are beyond the bound")
            self._line(proposal_words(each, made.asked_rate), indent=4, style="bold")
        self._line("a wider bound lets faulty units through too: hunt with it, benchrig escapes", style="dim")

    def _limits(self, made: Rejects) -> None:
        """How far the units are from each limit; with results of escapes what it catches."""
        if not made.limits:
            return
        self._title("LIMITS, and how far good units are from them", "bold")
        headings = ["step", "", "reading", "nearest", "mean", "sd"]
        counts = ["caught", "alone"] if made.faults is not None else []
        rows = [((*_cells(each), *([str(each.caught), str(each.alone)] if counts else [])), _style(each)) for each in made.limits]  # fmt: skip
        right = (*headings[3:], *counts)
        print_table(self._console, (*headings, *counts), rows, right=right)
        if made.faults is not None:
            self._line(
                f"caught, alone: of {counted(made.faults, 'fault')}; alone: nothing else notices it", style="dim"
            )
            if nothing := _catch_nothing(made.limits):
                self._line(f"{counted(nothing, 'limit')} of {len(made.limits)} catch nothing that no other one does.")

    def _idle(self, made: Rejects) -> None:
        if not made.idle:
            return
        seconds = sum(each.seconds for each in made.idle)
        self._title(f"CATCH NO FAULT  {counted(len(made.idle), 'step')}, {seconds:.1f} s of the device", "bold yellow")
        for each in made.idle:
            self._line(f"{each.seconds:8.3f} s  step {each.node} {each.step}")

    def _end(self, made: Rejects) -> None:
        self._console.print()
        for note in made.notes:
            self._line(f"note: {note}", style="yellow")
        if made.interrupted:
            self._line(f"INTERRUPTED: {made.tested} of {counted(made.asked, 'unit')} tested", style="bold red")
        self._line(summary(made), style="bold")


def _cells(each: LimitSeen) -> tuple[str, ...]:
    deviations = "" if each.deviations is None else f"{each.deviations:.1f}"
    nearest, mean = number(each.nearest, each.unit), number(each.distance, each.unit)
    return each.node, plain(each.step, LONGEST), plain(each.reading, LONGEST), nearest, mean, deviations


def _style(each: LimitSeen) -> str:
    return "red" if each.rejected else "dim" if not each.judged else ""


def _catch_nothing(limits: Sequence[LimitSeen]) -> int:
    return sum(not each.alone for each in limits)
