"""A gauge study in the terminal: its design, and how far it is."""

from __future__ import annotations

from collections.abc import Sequence

from benchrig.cli.text_page import LONGEST, TextPage
from benchrig.gauge.counting import Measured, NotCounted
from benchrig.gauge.design import Design
from benchrig.gauge.state import State
from benchrig.gauge.telling import LeftOut
from benchrig.source.problem import counted
from benchrig.text.escape import plain
from benchrig.text.tables import print_table


def design_words(design: Design) -> str:
    """'2 units, 3 appraisers, 3 repeats: 18 measurements of read temperature.value'."""
    parts = [
        counted(len(design.units), "unit"),
        counted(len(design.appraisers), "appraiser"),
        counted(design.repeats, "repeat"),
    ]
    readings = ", ".join(design.readings)
    return plain(f"{', '.join(parts)}: {counted(len(design.order), 'measurement')} of {readings}", LONGEST)


def found_words(found: Measured | NotCounted, state: State) -> str:
    """One measurement, right after it was made."""
    if isinstance(found, NotCounted):
        return plain(f"not counted: {found.why} ({found.folder})", LONGEST)
    values = ", ".join(f"{name} {value.number:.6g} {value.measure}".rstrip() for name, value in found.values.items())
    place = f"{len(state.measured)} of {len(state.design.order)}"
    marks = ", SIMULATED" if found.simulated else ""
    return plain(f"{place}: {found.cell.words}: {values}{marks}", LONGEST)


class GaugePage(TextPage):
    def simulated(self, simulated: bool) -> None:
        if simulated:
            self._line("SIMULATED: no real unit was measured", style="bold yellow")

    def _left_out(self, not_counted: Sequence[NotCounted | LeftOut], doubled: Sequence[NotCounted | LeftOut]) -> None:
        """Runs that do not count for one reason in one line, with the folder of the last one."""
        folders: dict[str, list[str]] = {}
        for run in not_counted:
            folders.setdefault(run.why, []).append(str(run.folder))
        for why, found in folders.items():
            several = f"{len(found)} runs, the last one " if len(found) > 1 else ""
            self._line(f"not counted: {why} ({several}{found[-1]})", style="yellow")
        for run in doubled:
            self._line(f"duplicate: {run.why} ({run.folder})", style="yellow")


class StatusPage(GaugePage):
    def show(self, state: State) -> None:
        self._line(design_words(state.design))
        self.simulated(bool(state.simulated))
        self._grid(state)
        self._left_out(state.not_counted, state.doubled)
        missing = state.missing
        if not missing:
            self._line("nothing is missing", style="bold")
            return
        self._line(f"{counted(len(missing), 'measurement')} missing; next: {missing[0].words}", style="bold")

    def _grid(self, state: State) -> None:
        """How many repeats of each unit by each appraiser."""
        design = state.design
        counts = {(unit, who): 0 for unit in design.units for who in design.appraisers}
        for cell in state.measured:
            counts[cell.unit, cell.appraiser] += 1
        names = [plain(who, LONGEST) for who in design.appraisers]
        rows = [
            ((plain(unit, LONGEST), *(f"{counts[unit, who]} of {design.repeats}" for who in design.appraisers)), "")
            for unit in design.units
        ]
        print_table(self._console, ("unit", *names), rows, right=names)
