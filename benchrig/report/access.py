"""The matrix of an access step, for every report: what each operation needs, and what it was answered with over each link."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
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


def answer(cell: AccessCell | None, said: Callable[[str], str] = plain) -> str:
    """What stands in the matrix; `said` makes words of what was found, and of what was expected."""
    if cell is None:
        return ""
    if not cell.found:
        return UNTRIED
    by = f" by {plain(cell.way)}" if cell.way else ""
    return f"{DIFFERS} {said(cell.found)}{by}, not {said(cell.expected)}" if cell.differs else said(cell.found)


# How far a link is protected, where there is no room for the words.
_SHORT = {"no security": "none", "encrypted": "enc", "authenticated": "auth", "secure connections": "SC", "after pairing": "after"}  # fmt: skip


class Codes:
    """ATT errors by their codes, where there is no room for names, and levels by shorter words; `legend` has those that
    were said."""

    def __init__(self) -> None:
        self._names: dict[str, str] = {}

    def __call__(self, text: str) -> str:
        """Several errors are joined by ' or '."""
        return " or ".join(map(self._code, text.split(" or ")))

    def _code(self, name: str) -> str:
        from benchrig.source.shape import Misfit
        from benchrig.values.catalogue import att_error_code

        try:
            code = f"0x{att_error_code(name):02X}"
        except Misfit:
            return plain(name)
        self._names[code] = plain(name)
        return code

    def level(self, name: str) -> str:
        if name in _SHORT:
            self._names[_SHORT[name]] = name
        return _SHORT.get(name, name)

    @property
    def legend(self) -> str:
        return ", ".join(f"{code} {name}" for code, name in self._names.items() if code not in ("none", "after"))


def _told(cell: AccessCell) -> str:
    return answer(cell) if cell.found else f"not tried, {plain(cell.why)}"


def sentences(matrix: Matrix) -> Iterable[str]:
    """A line for each row, for outputs that have no columns."""
    for line in matrix.lines:
        answers = "; ".join(f"{link}: {_told(line.cells[link])}" for link in matrix.links if link in line.cells)
        yield f"{line.attribute}, {line.operation}, needs {line.needs}: {answers or 'not judged'}"
