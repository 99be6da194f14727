"""Yields in the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from benchrig.cli.history_text import SIMULATED, record_place
from benchrig.cli.text_page import TextPage
from benchrig.history.moments import moment_text
from benchrig.record.purposes import AGAIN
from benchrig.source.problem import counted
from benchrig.text.escape import plain
from benchrig.text.tables import print_table

if TYPE_CHECKING:
    from benchrig.figures.failing import Failing
    from benchrig.figures.grouping import Group
    from benchrig.figures.yields import YieldFigure
    from benchrig.history.opening import History
    from benchrig.study.yields import Share

_CELL = 60
_AGAIN = {"retest": "retests", "repaired": "runs after a repair"}
# So many units that passed again are named.
_RETESTED = 10
_HEADINGS = ("", "passed", "of", "share", "95 % exact", "95 % Wilson")


class YieldPage(TextPage):
    longest = 500

    def __init__(self, history: History) -> None:
        super().__init__()
        self._history = history

    def show(self, figures: Sequence[YieldFigure]) -> None:
        for number, figure in enumerate(figures):
            if number:
                self._console.print()
            self._figure(figure)

    def _figure(self, figure: YieldFigure) -> None:
        self._banner(SIMULATED * figure.simulated)
        word = "plan" if len(figure.plans) == 1 else "plans together"
        self._line(
            f"YIELD  {word} {', '.join(plain(plan, _CELL) or 'without a name' for plan in figure.plans)}", "bold"
        )
        if not figure.runs:
            self._line("no run counts" + (f"; {figure.filters}" if figure.filters else ""))
            for sentence in _said(figure):
                self._line(sentence, "yellow")
            return
        self._line(_extent(figure))
        self._shares([("first pass", figure.first_pass), ("final", figure.final)])
        for sentence in _said(figure):
            self._line(sentence, "yellow")
        for by, groups in figure.groups.items():
            self._groups(by, groups)
        self._failures(figure.failures, figure.runs)
        self._retested(figure)

    def _shares(self, named: Sequence[tuple[str, Share]]) -> None:
        rows = [((name, *share_cells(share)), "bold") for name, share in named]
        print_table(self._console, _HEADINGS, rows, right=_HEADINGS[1:4], whole=_HEADINGS[4:])

    def _groups(self, by: str, groups: Sequence[Group]) -> None:
        self._console.print()
        headings = (
            by,
            "runs",
            "passed",
            "first pass",
            "of",
            "share",
            "95 % exact",
            "final",
            "of ",
            "share ",
            "95 % exact ",
        )
        rows = [
            (
                (
                    plain(each.name, _CELL) or "–",
                    str(each.runs),
                    str(each.runs_passed),
                    *share_cells(each.first_pass)[:4],
                    *share_cells(each.final)[:4],
                ),
                "",
            )
            for each in groups
        ]
        right = (*headings[1:6], *headings[7:10])
        print_table(self._console, headings, rows, right=right, whole=(headings[0], headings[6], headings[10]))

    def _failures(self, failures: Sequence[Failing], runs: int) -> None:
        if not failures:
            return
        self._console.print()
        self._line(f"FAILURES  {sum(each.runs for each in failures)} of {counted(runs, 'run')}", "bold red")
        headings = ("runs", "units", "step", "reading", "cause", "the last one", "record in")
        rows = [
            ((str(each.runs), str(each.units), *(plain(text, _CELL) or "–" for text in (each.step, each.reading, each.cause)),
              plain(each.message, 2 * _CELL), record_place(self._history, each.folder, each.run_id)), "")
            for each in failures
        ]  # fmt: skip
        print_table(self._console, headings, rows, right=headings[:2])

    def _retested(self, figure: YieldFigure) -> None:
        if not figure.retested:
            return
        self._console.print()
        count = counted(len({each.unit for each in figure.retested}), "unit")
        self._line(f"PASSED AGAIN  {count}: failed, then passed with the same firmware, plan and limits", "bold yellow")
        for each in figure.retested[:_RETESTED]:
            where = ", ".join(filter(None, (each.step, each.reading))) or "–"
            failed = record_place(self._history, each.failed_folder, each.failed_run)
            passed = record_place(self._history, each.passed_folder, each.passed_run)
            how = f" ({each.purpose})" if each.purpose in AGAIN else ""
            self._line(f"{each.unit}: failed {where} in {failed}, passed in {passed}{how}")
        if (more := len(figure.retested) - _RETESTED) > 0:
            self._line(f"and {more} more: --json names all")


def share_cells(share: Share) -> tuple[str, str, str, str, str]:
    """Passed, of, share and both intervals; nothing of nothing is no share."""
    told = percent(share.share) if share.share is not None else "–"
    return str(share.passed), str(share.of), told, interval_text(share.exact), interval_text(share.wilson)


def percent(share: float) -> str:
    return f"{100 * share:.2f} %"


def interval_text(interval: tuple[float, float] | None) -> str:
    return f"{percent(interval[0])} to {percent(interval[1])}" if interval else "–"


def _extent(figure: YieldFigure) -> str:
    runs = f"{counted(figure.runs, 'run')} of {counted(figure.units, 'unit')}"
    when = f", {moment_text(figure.since)} to {moment_text(figure.until)} UTC" if figure.since and figure.until else ""
    return f"{runs} count{'s' * (figure.runs == 1)}{when}" + (f"; {figure.filters}" if figure.filters else "")


def _said(figure: YieldFigure) -> Iterator[str]:
    """What a reader of these numbers should know."""
    if figure.apart:
        told = ", ".join(f"{each.why} {each.runs}" for each in figure.apart)
        yield f"{counted(sum(each.runs for each in figure.apart), 'run')} counted neither way: {told}"
    if figure.earlier:
        before, share = figure.earlier, figure.earlier.first_pass
        new = f"first pass of the others {share.passed} of {share.of}"
        yield f"{counted(before.units, 'unit')} had been tested before these runs, and {before.failed} failed then; {new}"
    if figure.again:
        told = ", ".join(f"{_AGAIN[each.purpose]} {each.runs} ({each.passed} passed)" for each in figure.again)
        yield f"no first tests: {told}; first pass takes the first result of a unit, final the last one"
    if figure.without_first:
        yield f"{counted(figure.without_first, 'unit')} with a first result outside these runs: in no first pass here"
    if figure.unknown:
        yield f"{counted(figure.unknown, 'run')} of a unit that told nothing of itself: each counts as another unit"
    if figure.by_address:
        yield f"{counted(figure.by_address, 'run')} had only an address, which is that of one unit"
    if figure.lacking:
        yield f"{counted(figure.lacking, 'run')} passed without judging all limits, as plan or command allowed"
    yield from _mixed(figure)


def _mixed(figure: YieldFigure) -> Iterator[str]:
    if len(figure.plans) == 1 and figure.versions > 1:
        revisions = ", ".join(each or "none" for each in figure.revisions)
        yield f"{figure.versions} versions of the plan are in these numbers (revision {revisions}): --revision, --by revision"
    if len(figure.limit_sets) > 1:
        sets = ", ".join(each or "the plan's own" for each in figure.limit_sets)
        yield f"{len(figure.limit_sets)} limit sets are in these numbers ({sets}): --limits, --by limits"
