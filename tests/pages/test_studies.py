"""Gauge studies on the page of a set: the published example of the AIAG handbook, and what is said where there is no figure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchrig.history.adding import add_record
from benchrig.history.opening import open_history
from benchrig.history.questions.filters import Filters
from benchrig.pages.whole_set import page_of_set
from benchrig.record.journal import read_record
from tests.gauge.data import aiag
from tests.gauge.kit import begun, bench, forged
from tests.pages.kit import ON, undrawn
from tests.pages.test_set import rows, tree

__all__ = ["undrawn"]
pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("undrawn")]


def page(folder: Path, leave_out: int = 0) -> Any:
    """AIAG, Measurement Systems Analysis, 4th edition: 10 units, 3 appraisers, 3 repeats."""
    bench(folder)
    values = aiag()
    units = ",".join(dict.fromkeys(unit for unit, _, _ in values))
    design = begun(folder, units=units, appraisers="A,B,C", repeats=3)
    made = forged(folder / "study", design, [(cell, values[cell]) for cell in design.order][leave_out:])
    with open_history(folder / "history.sqlite", make=True) as history:
        for run in made:
            add_record(history, read_record(run), run)
        return tree(page_of_set(history, Filters(), folder / "runs.html", ON))


def test_the_handbook(tmp_path: Path) -> None:
    root = page(tmp_path)
    variance, ranges = rows(root, "Gauge studies by analysis of variance and by ranges")[1:]
    assert variance[2].startswith("27.9 % (")  # 27.86 %
    rated = "conditionally acceptable; the upper end of the interval is not acceptable"
    assert (variance[1], variance[4], variance[5]) == ("variance, interaction pooled", rated, "4")
    assert "study: a plan, 2026-11-27" in root.xpath("//h3/text()")
    assert "from left to right: A, B, C." in root.text_content()
    assert (ranges[2], ranges[5]) == ("26.7 %", "5")  # 26.68 %
    assert "10 units, 3 appraisers, 3 repeats: 90 runs." in root.text_content()
    assert rows(root, "Runs that do not count")[1:] == [["gauge study", "90"]]
    assert len(rows(root, "Values of the study")) == 91
    links = root.xpath("//div[@aria-label='Values of the study']//a/@href")
    assert sorted(links) == [f"study/runs/run-{number:04d}" for number in range(90)]


def test_a_study_that_is_not_complete_has_no_figure(tmp_path: Path) -> None:
    root = page(tmp_path, leave_out=1)
    assert "1 measurement of 90 missing" in root.text_content()
    assert not rows(root, "Gauge studies by analysis of variance and by ranges")
