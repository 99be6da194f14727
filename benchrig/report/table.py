"""The record in the terminal: what was tested, a table of readings and limits, why it failed, the verdict."""

from __future__ import annotations

from itertools import islice, product
from typing import TYPE_CHECKING, NamedTuple

from rich.cells import cell_len
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from benchrig.report import explain
from benchrig.report.escape import ascii_text, plain
from benchrig.report.rows import rows_of
from benchrig.report.tables import print_trimmed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from benchrig.record.model import Record

STYLES = {
    "pass": "green", "fail": "bold red", "error": "bold magenta", "skip": "yellow", "cut off": "bold magenta",
    "not run": "dim", "nothing judged": "bold yellow",
}  # fmt: skip
_HEADINGS = ("step", "reading", "low limit", "measured", "high limit", "unit", "verdict")
_RIGHT = ("low limit", "measured", "high limit")
_NOTES = 20
# A number as long as this is not broken over two lines while there is any other way.
_NUMBER = 14


def render(record: Record, console: Console, *, unjudged: bool = True) -> None:
    """Print the record. `unjudged` says whether readings without a limit have rows; when they do, they are dim."""
    page = _Page(console)
    page.header(record)
    page.table(record, unjudged)
    page.remarks(record)
    page.failures(record)
    page.verdict(record)


def render_verdict(record: Record, console: Console) -> None:
    """Print the last line, and why the verdict is not pass."""
    page = _Page(console)
    page.verdict_line(record, whole=True)
    page.reason_line(record)


class _Page:
    """Prints lines and tables in the width and the character set of one console. Text is never read as markup."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._ascii = console.options.ascii_only

    def header(self, record: Record) -> None:
        run = record.run
        lines = {
            "plan": f"{explain.plan_title(record)} ({plain(run.plan_file)})",
            "unit": explain.unit_title(record),
            "station": plain(run.station),
            "radio": plain(run.radio) + ("" if run.seed is None else f", seed {run.seed}"),
            "started": plain(run.started),
            "caution": plain(run.caution, explain.SENTENCE_LIMIT),
        }
        for label, text in lines.items():
            if text:
                self._line(f"{label:<8} ", "dim", text)
        if run.simulated:
            self._line("SIMULATED", "bold reverse", f" {explain.SIMULATED}")
        if record.cut_off:
            self._line("CUT OFF", STYLES["cut off"], f" {explain.CUT_OFF}")
        if run.left_out:
            self._line("PARTIAL ", STYLES["nothing judged"], explain.left_out(record))

    def table(self, record: Record, unjudged: bool) -> None:
        rows = [_HEADINGS, *rows_of(record, unjudged=unjudged, cell=max(12, self._console.width // 4))]
        if len(rows) == 1:
            return
        layout = _layout([[self._text(cell) for cell in row] for row in rows], self._console.width)
        headings, *cells = layout.rows
        table = Table(box=None, padding=(0, layout.gap, 0, 0), pad_edge=False, header_style="bold")
        for heading, width in zip(headings, layout.widths, strict=True):
            right = "right" if heading.plain in _RIGHT else "left"
            table.add_column(heading, justify=right, overflow="fold", width=width)  # type: ignore[arg-type]
        for row in cells:
            verdict = row[-1].plain
            row[-1].stylize(STYLES.get(verdict.partition(":")[0], ""))
            table.add_row(*row, style="" if verdict else "dim")
        self._console.print()
        print_trimmed(self._console, table)

    def remarks(self, record: Record) -> None:
        """Attempts that were needed, and notes."""
        self._console.print()
        for step in record.steps:
            if told := explain.attempts(step):
                self._line(f"step {explain.title(step)} {told}")
        notes = explain.notes(record)
        for note in islice(notes, _NOTES):
            self._line(plain(note, self._console.width * 3 // 2), "dim")  # two lines
        if more := sum(1 for _ in notes):
            self._line(f"note: {more} more are in the record", "dim")

    def failures(self, record: Record) -> None:
        for step in record.steps:
            state = explain.state(step)
            if state in ("fail", "error", "cut off"):
                cause = f" ({step.ended.cause})" if step.ended and step.ended.cause else ""
                self._console.print()
                self._line(f"step {explain.title(step)}: ", "bold", f"{state}{cause}", STYLES[state])
                for line in explain.explanation(step):
                    self._indented(line)
        skipped = list(explain.skipped(record))
        if skipped:
            self._console.print()
        for line in skipped:
            self._line(line)

    def verdict(self, record: Record) -> None:
        outcome, trouble = explain.outcome(record), explain.run_trouble(record)
        self._console.print()
        if trouble is not None and outcome == trouble.verdict:
            self._line("the run: ", "bold", f"{trouble.verdict} ({trouble.cause}): {trouble.message}")
        self.verdict_line(record)

    def verdict_line(self, record: Record, *, whole: bool = False) -> None:
        """The last line; `whole` keeps it in one, however narrow the console is."""
        outcome = explain.outcome(record)
        head = ", ".join([outcome.upper(), *explain.marks(record)])
        self._line(f"{head}: ", STYLES[outcome], explain.verdict_line(record), whole=whole)

    def reason_line(self, record: Record) -> None:
        if reason := explain.reason(record):
            self._line("reason: ", "bold", reason, whole=True)

    # --- output

    def _text(self, text: str, style: str = "") -> Text:
        return Text(ascii_text(text) if self._ascii else text, style)

    def _line(self, head: str, style: str = "", text: str = "", text_style: str = "", *, whole: bool = False) -> None:
        line = self._text(head, style) + self._text(text, text_style)
        if whole:
            self._console.print(line, soft_wrap=True)
        else:
            print_trimmed(self._console, line, "fold")

    def _indented(self, line: str) -> None:
        body = line.lstrip(" ")
        indent = min(2 + len(line) - len(body), 8)
        print_trimmed(self._console, Padding(self._text(body), (0, 0, 0, indent), expand=False), "fold")


class _Layout(NamedTuple):
    """The rows as they are printed, headings first; the width of each column, None where rich is to find one."""

    rows: Sequence[Sequence[Text]]
    widths: Sequence[int | None]
    gap: int


def _layout(rows: Sequence[Sequence[Text]], width: int) -> _Layout:
    """The roomiest layout that breaks no number: first headings fold, then texts, then steps stand over readings."""
    for names, fit in product((2, 1), (_whole, _headings_folded, _texts_folded)):
        shown = rows if names == 2 else _stacked(rows)
        columns = [[row[at] for row in shown] for at in range(len(shown[0]))]
        others = [fit(column) for column in columns[names:]]
        if names == 1:
            others[-1] = _texts_folded(columns[-1])  # a cause may stand below its verdict
        left = width - sum(others) - names * len(columns)
        if left >= 12 * names:
            return _Layout(shown, [*_share(columns[:names], left), *others], gap=names)
    return _Layout(shown, [None] * len(columns), gap=1)


def _stacked(rows: Sequence[Sequence[Text]]) -> list[Sequence[Text]]:
    """Rows with the step above its readings in one column; the step's own row carries its verdict."""
    stacked: list[Sequence[Text]] = []
    for step, reading, *rest in rows:
        if step.plain and reading.plain and stacked and any(cell.plain for cell in rest[:-1]):
            stacked.append([step, *[Text()] * len(rest)])
            step = Text()
        first = Text(" ") + reading if not step.plain else step
        stacked.append([first, *rest])
    return stacked


def _whole(column: Sequence[Text]) -> int:
    return max(cell.cell_len for cell in column)


def _headings_folded(column: Sequence[Text]) -> int:
    return max(_texts_folded(column[:1]), *(cell.cell_len for cell in column[1:]))


def _texts_folded(column: Sequence[Text]) -> int:
    """The width of the longest number or short word."""
    words = [cell_len(word) for cell in column for word in cell.plain.split()]
    return max((word for word in words if word <= _NUMBER), default=1)


def _share(columns: Sequence[Sequence[Text]], left: int) -> list[int]:
    """The room that is left, between steps and readings; none of it more than needed."""
    needs = [max(cell.cell_len for cell in column) for column in columns]
    if len(needs) == 1:
        return [min(needs[0], left)]
    reading = min(needs[1], max(left // 2, left - needs[0]))
    return [min(needs[0], left - reading), reading]
