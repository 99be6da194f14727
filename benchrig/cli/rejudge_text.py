"""What runs come to when they are judged again, in the terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from benchrig.cli.study_text import StudyPage
from benchrig.rejudge.results import Change, Results, Run, Yield
from benchrig.run.outcome import Exit
from benchrig.source.problem import counted
from benchrig.study.yields import Share

# So many runs, and so many lines of each, are told.
_RUNS, _LINES = 50, 10


class RejudgePage(StudyPage):
    def show(self, made: Results) -> None:
        if made.simulated:
            self._line("SIMULATED  no real unit was tested", style="bold white on red")
        limits = f", limits {made.limit_set.name} {made.limit_set.version}" if made.limit_set else ""
        revision = f", revision {made.revision}" if made.revision else ""
        self._line(f"plan    {made.plan}{revision} ({made.plan_file}){limits}")
        same = f"{made.as_run} of them" if made.as_run else "none of them"
        self._line(
            f"runs    {counted(len(made.runs), 'run')} judged again, {same} had run with this very plan and these limits"
        )
        self._yields(made)
        self._tally(made.runs)
        self._changed([run for run in made.runs if run.changed])
        self._unknown([run for run in made.runs if run.after is None])
        self._altered([run for run in made.runs if run.altered])
        self._not_read(made)

    def _yields(self, made: Results) -> None:
        self._title("YIELD", "bold")
        for when, found in (("before", made.before), ("after", made.after)):
            self._line(f"{when:<7} {_yield_words(found)}", indent=2)
        if apart := Counter(why for run in made.runs if (why := _why_apart(run))):
            told = ", ".join(f"{why} {count}" for why, count in sorted(apart.items()))
            self._line(f"{counted(apart.total(), 'run')} counted neither way before: {told}", indent=2)

    def _tally(self, runs: list[Run]) -> None:
        """What other limits cost, by reading."""
        found = Counter(
            (f"{change.name}, {change.reading}", change.before, change.after)
            for run in runs
            if run.after is not None
            for change in run.changes
            if change.reading and change.before and change.after
        )
        if not found:
            return
        self._title("READINGS", "bold")
        for (name, before, after), count in found.most_common(_LINES):
            self._line(f"{counted(count, 'time')}  {name}: {before} becomes {after}", indent=2)
        if len(found) > _LINES:
            self._line(f"… and {len(found) - _LINES} more", indent=2, style="dim")

    def _changed(self, runs: list[Run]) -> None:
        self._title(f"CHANGED  {counted(len(runs), 'run')}", "bold yellow" if runs else "bold green")
        for run in runs[:_RUNS]:
            assert run.after is not None
            self._line(
                f"{_unit_words(run)}: {run.before.verdict} becomes {run.after.verdict}  ({run.folder})", style="bold"
            )
            self._some(_change_words(change) for change in run.changes if change.reading)
            if not run.after.message:
                self._line("every limit holds", indent=4)
            elif not any(change.says and change.says in run.after.message for change in run.changes[:_LINES]):
                self._line(f"message: {run.after.message}", indent=4)
        self._rest(runs)

    def _unknown(self, runs: list[Run]) -> None:
        if not runs:
            return
        self._title(f"CANNOT BE JUDGED  {counted(len(runs), 'run')}", "bold yellow")
        for run in runs[:_RUNS]:
            self._line(f"{_unit_words(run)}, which came to {run.before.verdict}  ({run.folder})", style="bold")
            self._some(
                f"step {each.step} {each.name}{f', {each.reading}' if each.reading else ''}: {each.why}"
                for each in run.unknown
            )
        self._rest(runs)

    def _altered(self, runs: list[Run]) -> None:
        if not runs:
            return
        self._title(f"ALTERED  {counted(len(runs), 'record')}: not what the plan makes of its readings", "bold red")
        for run in runs[:_RUNS]:
            self._line(f"{_unit_words(run)}  ({run.folder})", style="bold")
            self._some(run.altered)
        self._rest(runs)

    def _not_read(self, made: Results) -> None:
        if made.not_read:
            self._title(f"LEFT OUT  {counted(len(made.not_read), 'folder')}", "dim")
            self._some(f"{each.folder}: {each.why}" for each in made.not_read)

    def _some(self, lines: Iterable[str]) -> None:
        said = [*lines]
        for line in said[:_LINES]:
            self._line(line, indent=4)
        if len(said) > _LINES:
            self._line(f"… and {len(said) - _LINES} more", indent=4, style="dim")

    def _rest(self, runs: list[Run]) -> None:
        if len(runs) > _RUNS:
            self._line(f"… and {len(runs) - _RUNS} more runs: --json has all", style="dim")


def _unit_words(run: Run) -> str:
    """A run that is no whole test is not taken for one."""
    return f"unit {run.unit}" + (f" ({run.apart.upper()}, in no yield)" if run.apart else "")


def _why_apart(run: Run) -> str:
    """Why it was in no yield."""
    if run.apart or run.before.counts:
        return run.apart
    return f"cause {run.before.cause}" if run.before.exit_code != Exit.NOT_JUDGED else "not all judged"


def _yield_words(found: Yield) -> str:
    return (
        f"first pass {_share_words(found.first_pass, found.first_unknown)}; "
        f"final {_share_words(found.final, found.final_unknown)}"
    )


def _share_words(share: Share, unknown: int) -> str:
    said = f"{share.passed} of {share.of}"
    if share.share is not None and share.exact is not None:
        low, high = share.exact
        said += f" {100 * share.share:.1f} % ({100 * low:.1f} % to {100 * high:.1f} %, 95 % confidence)"
    return said + (f", and {unknown} that nobody can tell" if unknown else "")


def _change_words(change: Change) -> str:
    return f"step {change.step} {change.name}, {change.reading}: {change.before} becomes {change.after}: {change.says}"
