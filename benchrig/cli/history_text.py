"""What the history answers, in the terminal and as CSV: runs, one unit's life, values of a reading."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchrig.cli.out import echo
from benchrig.cli.text_page import TextPage
from benchrig.history.moments import moment_text
from benchrig.source.problem import counted
from benchrig.text.escape import csv_cell, plain, value_text, with_unit
from benchrig.text.tables import print_table

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.channels import Channel
    from benchrig.history.questions.life import Life, LifeRun, Told
    from benchrig.history.questions.runs import RunRow

SIMULATED = "SIMULATED: these runs were on simulated devices; no real unit was tested"
_CELL = 60
_PLACES = 3
_OF_RUN = ("plan", "verdict", "marks", "station", "firmware", "what decided")
_STYLES = {"pass": "green", "fail": "red"}


def print_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Rows by the names of the columns, each with all of them."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([csv_cell(row[name]) for name in columns])
    echo(out.getvalue(), nl=False)


def record_place(history: History, stored: str, run_id: str) -> str:
    """What people find a run by: its folder, as it is seen from here; its id where none is known."""
    if not stored:
        return plain(run_id)
    folder, here = history.folder(stored), Path.cwd()
    return plain(str(folder.relative_to(here) if folder.is_relative_to(here) else folder))


def marks(run: RunRow) -> str:
    """What keeps a verdict from being one on a unit as a whole, and which test of it at a line it was, in capitals."""
    told = ["SIMULATED"] * run.simulated + ["PARTIAL"] * bool(run.left_out) + ["GAUGE STUDY"] * bool(run.study)
    return ", ".join([*told, *filter(None, [run.at_line.upper()])])


class HistoryPage(TextPage):
    longest = 300

    def __init__(self, history: History) -> None:
        super().__init__()
        self._history = history

    def runs(self, found: Sequence[RunRow], more: int, *, simulated: bool) -> None:
        self._banner(SIMULATED * simulated)
        if found:
            headings = ("started (UTC)", "unit", *_OF_RUN, "record")
            rows = [
                ((*_cells(run), _record(run.folder, run.run_id)), _STYLES.get(run.verdict, "yellow")) for run in found
            ]
            print_table(self._console, headings, rows, whole=headings[:1])
        self._around(run.folder for run in found)
        self._line(counted(len(found), "run") + (f", the last of {len(found) + more}" if more else ""))
        if not found and not simulated:
            self._line("runs on simulated devices are listed with --simulated", style="dim")

    def life(self, life: Life) -> None:
        self._banner(SIMULATED * life.simulated)
        self._line(f"unit {life.name}", style="bold")
        names = (("serial number read", life.serials), ("serial number given", life.given_serials), ("address", life.addresses),
                 ("firmware", life.firmware), ("station", life.stations), ("plan", life.plans))  # fmt: skip
        for name, words in names:
            self._line(f"{name:20} {', '.join(plain(each, _CELL) for each in words) or '–'}")
        self._console.print()
        headings = ("started (UTC)", *_OF_RUN, "found by", "record")
        rows = [
            ((*_life_cells(each), _record(each.run.folder, each.run.run_id)), _STYLES.get(each.run.verdict, "yellow"))
            for each in life.runs
        ]
        print_table(self._console, headings, rows, whole=headings[:1])
        for each in life.runs:
            if each.readings:
                self._readings(each)
        self._disagreements(life)
        self._around(each.run.folder for each in life.runs)
        self._line(counted(len(life.runs), "run"))

    def channels(self, known: Sequence[Channel], *, simulated: bool) -> None:
        self._banner(SIMULATED * simulated)
        rows = [((plain(each.label, _CELL), plain(each.measure), plain(each.plan, _CELL)), "") for each in known]
        print_table(self._console, ("reading", "unit of measure", "plan"), rows)

    def values(self, rows: Sequence[Mapping[str, Any]], measure: str, said: Sequence[str], *, simulated: bool) -> None:
        self._banner(SIMULATED * simulated)
        headings = ("started (UTC)", "unit", "value", "low", "high", "", "station", "firmware", "record")
        cells = [
            ((*_value_cells(row, measure), _record(row["folder"], row["run_id"])), "" if row["passed"] else "red")
            for row in rows
        ]
        print_table(self._console, headings, cells, right=headings[2:5], whole=headings[:1])
        self._around(row["folder"] for row in rows)
        for sentence in said:
            self._line(sentence)

    def _readings(self, lived: LifeRun) -> None:
        self._console.print()
        self._line(f"{moment_text(lived.run.started)}  {lived.run.plan}  {self._place(lived.run)}", style="bold")
        headings = ("step", "reading", "value", "low", "high", "")
        rows = [(_told_cells(each), "" if each.passed else "red") for each in lived.readings]
        print_table(self._console, headings, rows, right=headings[2:5])

    def _disagreements(self, life: Life) -> None:
        self._console.print()
        places = {each.run.run_id: self._place(each.run) for each in life.runs}
        for seen in life.disagreements:
            said = f"label and link disagree in {places.get(seen.run_id, seen.run_id)}: given {seen.given_serial}, read {seen.serial}"
            self._line(said, style="bold yellow")
        if len(life.serials) > 1:
            self._line(f"several serial numbers were read: {', '.join(life.serials)}", style="bold yellow")

    def _place(self, run: RunRow) -> str:
        return record_place(self._history, run.folder, run.run_id)

    def _around(self, folders: Iterable[str]) -> None:
        """Where the records are that the table names by their folders."""
        around = sorted({str(Path(record_place(self._history, each, "")).parent) for each in folders if each})
        if around:
            more = f", and {len(around) - _PLACES} more places" if len(around) > _PLACES else ""
            self._line(f"records in {', '.join(around[:_PLACES])}{more}")


def _record(folder: str, run_id: str) -> str:
    """The name of its folder; the id of a run without one."""
    return plain(Path(folder).name or run_id)


def _cells(run: RunRow) -> tuple[str, ...]:
    return moment_text(run.started), *(plain(text, _CELL) for text in (run.unit or "–", *_of_run(run)))


def _life_cells(lived: LifeRun) -> tuple[str, ...]:
    run, device = lived.run, lived.seen.device
    found = f"{lived.found_by} of {device}" if device else lived.found_by
    return moment_text(run.started), *(plain(text, _CELL) for text in (*_of_run(run), found))


def _of_run(run: RunRow) -> tuple[str, ...]:
    return run.plan, run.verdict, marks(run), run.place, run.firmware or "–", decided(run)


def decided(run: RunRow) -> str:
    """'read voltage, value (limit)', or the message of a run that no step decided; '' of a pass."""
    if run.passed:
        return ""
    where = ", ".join(filter(None, (run.step, run.reading)))
    return f"{where} ({run.cause})" if where and run.cause else where or run.message


def _value_cells(row: Mapping[str, Any], measure: str) -> tuple[str, ...]:
    numbers = (with_unit(row["value"], plain(measure)), value_text(row["low"]), value_text(row["high"]))
    texts = (plain(str(row[name]) or "–", _CELL) for name in ("station", "firmware"))
    held = "" if row["passed"] else "FAILED"
    return moment_text(row["started"]), plain(row["unit"] or "–", _CELL), *numbers, held, *texts


def _told_cells(told: Told) -> tuple[str, ...]:
    numbers = (with_unit(told.value, plain(told.measure)), value_text(told.low), value_text(told.high))
    return plain(told.step, _CELL), plain(told.reading, _CELL), *numbers, "" if told.passed else "FAILED"
