"""The record in the terminal: what was tested, a table of readings and limits, why it failed, the verdict."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

from benchrig.report import access, at_line, explain, whole
from benchrig.report.layout import Layout, fitting, under_steps
from benchrig.report.requirements import proofs
from benchrig.report.rows import Row, rows_of
from benchrig.source.problem import counted
from benchrig.text.escape import ascii_text, plain
from benchrig.text.tables import print_table, print_trimmed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from rich.console import Console

    from benchrig.record.model import Record

STYLES = {
    "pass": "green", "fail": "bold red", "error": "bold magenta", "skip": "yellow", "cut off": "bold magenta",
    "not run": "dim", "left out": "cyan", "nothing judged": "bold yellow", "not all judged": "bold yellow", "not judged": "bold yellow",
}  # fmt: skip
_STYLES_OF_PROOF = {"passed": STYLES["pass"], "failed": STYLES["fail"], "not proven": STYLES["not judged"]}
_HEADINGS = ("step", "reading", "low limit", "measured", "high limit", "units", "verdict")
# The columns of numbers: where a step stands beside its readings, and over them.
_BESIDE, _OVER = (2, 3, 4), (1, 2, 3)
_NOTES = 20
# Below this many characters a list reads better than columns.
_NARROWEST = 60
# So much of a limit or a value is broken over lines rather than cut.
_CELL = 60
# With less room than this for each column the matrix of an access step has no names of errors, no names of levels, no
# columns.
_ROOM_OF_NAMES, _ROOM_OF_LEVELS, _ROOM_OF_CODES = 15, 13, 10


def render(record: Record, console: Console, *, unjudged: bool = True) -> None:
    """Print the record. `unjudged` says whether readings without a limit have rows; when they do, they are dim."""
    page = _Page(console)
    page.header(record)
    page.table(record, unjudged)
    page.matrices(record)
    page.remarks(record)
    page.failures(record)
    page.writes(record)
    page.requirements(record)
    page.verdict(record)


def render_verdict(record: Record, console: Console) -> None:
    """Print the last line, and why the verdict is not pass."""
    page = _Page(console)
    page.verdict_line(record, in_one=True)
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
            "limits": explain.limit_set(record),
            "unit": explain.unit_title(record),
            "station": plain(run.station),
            "line": at_line.where(record),
            "purpose": at_line.purpose(record),
            "fixture": plain(str(run.fixture), explain.NAME_LIMIT) if run.fixture else "",
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
            self._line("PARTIAL ", STYLES["nothing judged"], whole.left_out(record))
        for line in whole.not_judged(record):
            self._line("NOT JUDGED ", STYLES["not judged"], line)

    def table(self, record: Record, unjudged: bool) -> None:
        rows = rows_of(record, unjudged=unjudged, cell=max(_CELL, self._console.width // 3))
        if not rows:
            return
        self._console.print()
        headings = [self._text(each, "bold") for each in _HEADINGS]
        cells = [self._cells(row) for row in rows]
        wide = self._console.width >= _NARROWEST
        if wide and (layout := fitting([headings, *cells], self._console.width)) is not None:
            self._columns(layout, [headings, *cells])
        else:
            self._list(rows_of(record, unjudged=unjudged, cell=explain.NAME_LIMIT))

    def _cells(self, row: Row) -> list[Text]:
        *cells, ended = row.cells
        dim = "" if ended else "dim"
        return [*(self._text(cell, dim) for cell in cells), self._text(ended, STYLES.get(row.verdict, ""))]

    def _columns(self, layout: Layout, rows: Sequence[Sequence[Text]]) -> None:
        if not layout.over:
            for row in rows:
                self._lines(layout.lines(row, _BESIDE, self._console))
            return
        step, _reading, *rest = rows[0]
        self._lines(layout.lines([step, *rest], _OVER, self._console))
        for under, (step, reading, *rest) in zip(under_steps(rows[1:]), rows[1:], strict=True):
            if step.plain:
                self._lines(layout.step_lines(step, Text() if reading.plain else rest[-1], self._console))
            if reading.plain:
                self._lines(layout.lines([under, *rest], _OVER, self._console))

    def _lines(self, lines: Iterable[Text]) -> None:
        for line in lines:
            self._console.print(line, soft_wrap=True)

    def _list(self, rows: Sequence[Row]) -> None:
        """A line for each step and reading, where columns would break every word."""
        indent = 0
        for row in rows:
            if row.step:
                indent = len(row.step) - len(row.step.lstrip(" "))
                self._line(row.step, "bold")
            words = (f"{row.reading} {row.measured} {row.unit}".strip(), _bounds(row), row.ended)
            if text := "  ".join(filter(None, words)):
                self._hanging(text, STYLES.get(row.verdict, "") if row.verdict else "dim", indent + 4)

    def matrices(self, record: Record) -> None:
        """What the unit allows over which link."""
        for matrix in access.matrices(record):
            self._console.print()
            self._line(matrix.title, "bold")
            if self._console.width < _ROOM_OF_CODES * (len(matrix.links) + 3):
                self._differing(matrix)
            else:
                self._matrix(matrix)
            for reason in matrix.reasons:
                self._indented(reason, "dim")

    def _matrix(self, matrix: access.Matrix) -> None:
        """In columns; with less room errors are told by their codes, with little room levels by shorter words."""
        codes, width, columns = access.Codes(), self._console.width, len(matrix.links) + 3
        said = plain if width >= _ROOM_OF_NAMES * columns else codes
        level = str if width >= _ROOM_OF_LEVELS * columns else codes.level
        rows = [_matrix_row(matrix.links, line, said, level) for line in matrix.lines]
        print_table(self._console, ("attribute", "operation", "needs", *map(level, matrix.links)), rows)
        if codes.legend:
            self._indented(codes.legend, "dim")

    def _differing(self, matrix: access.Matrix) -> None:
        """Where every word of a column would break: the lines alone that differ."""
        for line, sentence in zip(matrix.lines, access.sentences(matrix), strict=True):
            if line.differs:
                self._hanging(sentence, STYLES["fail"], 2)
        rest = sum(1 for line in matrix.lines if not line.differs)
        self._indented(f"{counted(rest, 'operation')} as expected, or not tried")

    def remarks(self, record: Record) -> None:
        """Attempts that were needed, and notes."""
        self._console.print()
        for line in whole.retries(record):
            self._line(line)
        self._notes(whole.notes(record))

    def writes(self, record: Record) -> None:
        """What was sent: nobody looks for that first."""
        lines = [*whole.writes(record)]
        if lines:
            self._console.print()
        self._notes(iter(lines))

    def requirements(self, record: Record) -> None:
        """What the run says of what the product promises."""
        proven = [*proofs(record)]
        if proven:
            self._console.print()
        for proof in proven:
            self._line(f"{proof.name}: {proof.why}: ", "", proof.came_to, _STYLES_OF_PROOF[proof.came_to])
            self._indented(proof.says, "dim")

    def _notes(self, notes: Iterator[str]) -> None:
        for note in islice(notes, _NOTES):
            self._line(plain(note, self._console.width * 3 // 2), "dim")  # two lines
        if more := sum(1 for _ in notes):
            self._line(f"note: {more} more are in the record", "dim")

    def failures(self, record: Record) -> None:
        for failure in whole.failures(record):
            self._failure(failure)
        lines = [
            *whole.shown(record),
            *whole.tolerated(record),
            *whole.skipped(record),
            *whole.limits_left_out(record),
        ]
        if lines:
            self._console.print()
        for line in lines:
            self._line(line)

    def _failure(self, failure: whole.Failure) -> None:
        step, state = failure.step, explain.state(failure.step)
        cause = f" ({step.ended.cause})" if step.ended and step.ended.cause else ""
        allowed = ", tolerated" if failure.tolerated else ""
        self._console.print()
        self._line(f"step {explain.telling_title(step)}: ", "bold", f"{state}{cause}{allowed}", STYLES[state])
        for line in explain.explanation(step):
            self._indented(line)
        if failure.alike:
            self._indented(f"the same in {explain.numbered(failure.alike)}")
        if failure.more:
            self._indented(f"it failed in {counted(failure.more, 'more round')}")

    def verdict(self, record: Record) -> None:
        outcome, trouble = explain.outcome(record), whole.run_trouble(record)
        self._console.print()
        if trouble is not None and outcome == trouble.verdict:
            self._line("the run: ", "bold", f"{trouble.verdict} ({trouble.cause}): {trouble.message}")
            if trouble.advice:
                self._indented(f"advice: {trouble.advice}")
        self.verdict_line(record)

    def verdict_line(self, record: Record, *, in_one: bool = False) -> None:
        """The last line; `in_one` keeps it so, however narrow the console is."""
        outcome = explain.outcome(record)
        head = ", ".join([outcome.upper(), *whole.marks(record)])
        self._line(f"{head}: ", STYLES[outcome], whole.verdict_line(record), in_one=in_one)

    def reason_line(self, record: Record) -> None:
        if reason := whole.reason(record):
            self._line("reason: ", "bold", reason, in_one=True)
        if advice := whole.advice(record):
            self._line("advice: ", "bold", advice, in_one=True)

    # --- output

    def _text(self, text: str, style: str = "") -> Text:
        return Text(ascii_text(text) if self._ascii else text, style)

    def _line(self, head: str, style: str = "", text: str = "", text_style: str = "", *, in_one: bool = False) -> None:
        line = self._text(head, style) + self._text(text, text_style)
        if in_one:
            self._console.print(line, soft_wrap=True)
        else:
            print_trimmed(self._console, line, "fold")

    def _indented(self, line: str, style: str = "") -> None:
        body = line.lstrip(" ")
        indent = min(2 + len(line) - len(body), 8)
        print_trimmed(self._console, Padding(self._text(body, style), (0, 0, 0, indent), expand=False), "fold")

    def _hanging(self, line: str, style: str, indent: int) -> None:
        """A reading of the list, with the rest of a long one further in."""
        indent = min(indent, self._console.width // 2)
        rows = self._text(line, style).wrap(self._console, max(1, self._console.width - indent - 2), overflow="fold")
        for at, row in enumerate(rows):
            row.rstrip()
            self._console.print(Text(" " * (indent + 2 * bool(at))) + row, soft_wrap=True)


def _matrix_row(
    links: Sequence[str], line: access.Line, said: Callable[[str], str], level: Callable[[str], str]
) -> tuple[list[str], str]:
    answers = (access.answer(line.cells.get(link), said) for link in links)
    name = line.attribute if line.is_first else ""
    return [name, line.operation, level(line.needs), *answers], STYLES["fail"] if line.differs else ""


def _bounds(row: Row) -> str:
    """The limits of a reading in brackets."""
    if row.low and row.high:
        return f"({row.low} to {row.high})"
    if row.high:
        return f"(up to {row.high})"
    return f"({'from ' if row.is_least else ''}{row.low})" if row.low else ""
