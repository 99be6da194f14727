"""Published gauge studies: values by unit, appraiser and repeat."""

from __future__ import annotations

from benchrig.study.gauge.crossed import Cells, Crossed, crossed

# AIAG, Measurement Systems Analysis, 4th edition (2010), chapter III.B: 10 parts, appraisers A, B, C, 3 trials; a line a
# trial, a column a part.
_AIAG = {
    "A": """0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
            0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
            0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31""",
    "B": """0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
            0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
            0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50""",
    "C": """0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
            -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
            -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16""",
}
# The example data of the R package gaugerr (S. Bell): 10 parts, 3 operators, 3 repeats; a line a part.
_GAUGERR = """37 38 37, 41 41 40, 41 42 41
42 41 43, 42 42 42, 43 42 43
30 31 31, 31 31 31, 29 30 28
42 43 42, 43 43 43, 42 42 42
28 30 29, 29 30 29, 31 29 29
42 42 43, 45 45 45, 44 46 45
25 26 27, 28 28 30, 29 27 27
40 40 40, 43 42 42, 43 43 41
25 25 25, 27 29 28, 26 26 26
35 34 34, 35 35 34, 35 34 35"""
UNITS = [f"P{number}" for number in range(1, 11)]


def aiag_cells() -> dict[tuple[str, str], list[float]]:
    trials = {
        who: [[float(word) for word in line.split()] for line in text.splitlines()] for who, text in _AIAG.items()
    }
    return {(unit, who): [line[at] for line in trials[who]] for who in trials for at, unit in enumerate(UNITS)}


def aiag() -> Crossed:
    return crossed(aiag_cells(), UNITS, ["A", "B", "C"], 3)


def gaugerr() -> Crossed:
    cells: dict[tuple[str, str], list[float]] = {}
    for unit, line in zip(UNITS, _GAUGERR.splitlines(), strict=True):
        for who, cell in enumerate(line.split(", "), 1):
            cells[unit, str(who)] = [float(word) for word in cell.split()]
    return crossed(cells, UNITS, ["1", "2", "3"], 3)


def of(values: list[list[list[float]]]) -> Crossed:
    """values[unit][appraiser][repeat], with names made up."""
    units, people = [f"U{at}" for at in range(len(values))], [f"A{at}" for at in range(len(values[0]))]
    cells: Cells = {(u, a): values[i][j] for i, u in enumerate(units) for j, a in enumerate(people)}
    return crossed(cells, units, people, len(values[0][0]))
