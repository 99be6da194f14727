"""The matrix of an access step, for every report: what each operation needs, and what it was answered with over each link."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, NamedTuple

from benchrig.report import explain
from benchrig.report.outline import Once, outline
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.record.model import Execution, Record
    from benchrig.values.access import AccessCell, AccessRow

# What stands before an answer that is not the one expected, and in place of one that was not asked for.
DIFFERS, UNTRIED = "✗", "–"
_NAME_LIMIT = 60


class Matrix(NamedTuple):
    """Of one step. `links` are the columns, `lines` the rows."""

    step: Execution
    links: list[str]
    lines: list[Line]

    @property
    def title(self) -> str:
        return f"what the unit allows, step {explain.title(self.step)}"

    @property
    def reasons(self) -> list[str]:
        """Why operations were not tried."""
        whys = [cell.why for line in self.lines for cell in line.cells.values() if cell.why]
        return [f"{UNTRIED} {plain(why)} ({whys.count(why)})" for why in dict.fromkeys(whys)]


class Line(NamedTuple):
    """One operation on one attribute; `cells` by link. The name of an attribute stands in its first line only."""

    attribute: str
    operation: str
    needs: str
    cells: Mapping[str, AccessCell]
    is_first: bool = True

    @property
    def differs(self) -> bool:
        return any(cell.differs for cell in self.cells.values())


def matrices(record: Record) -> Iterator[Matrix]:
    """In the order of the plan; of a step in a repetition the last one that is on record, or that failed."""
    for entry in outline(record):
        steps = [entry.step] if isinstance(entry, Once) else [*entry.executions[-1:], *entry.failed[:1]]
        for step in steps[-1:]:
            for reading in step.readings:
                if reading.access:
                    yield of(step, reading.access)


def of(step: Execution, rows: list[AccessRow]) -> Matrix:
    links = list(dict.fromkeys(cell.link for row in rows for cell in row.cells))
    lines, before = list[Line](), None
    # the operations on one attribute stand together, attributes in the order of the table
    together: dict[str, list[AccessRow]] = {}
    for row in rows:
        together.setdefault(row.attribute, []).append(row)
    for row in (row for same in together.values() for row in same):
        cells = {cell.link: cell for cell in row.cells}
        said = (plain(row.attribute, _NAME_LIMIT), plain(row.operation), plain(row.needs))
        lines.append(Line(*said, cells, row.attribute != before))
        before = row.attribute
    return Matrix(step, [*map(plain, links)], lines)


def answer(cell: AccessCell | None) -> str:
    """What stands in the matrix."""
    if cell is None:
        return ""
    if not cell.found:
        return UNTRIED
    by = f" by {plain(cell.way)}" if cell.way else ""
    if cell.differs:
        return f"{DIFFERS} {plain(cell.found)}{by}, not {plain(cell.expected)}"
    return plain(cell.found)


def _told(cell: AccessCell) -> str:
    return answer(cell) if cell.found else f"not tried, {plain(cell.why)}"


def sentences(matrix: Matrix) -> Iterable[str]:
    """A line for each row, for outputs that have no columns."""
    for line in matrix.lines:
        answers = "; ".join(f"{link}: {_told(line.cells[link])}" for link in matrix.links if link in line.cells)
        yield f"{line.attribute}, {line.operation}, needs {line.needs}: {answers or 'not judged'}"
