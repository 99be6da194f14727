"""What the folders of a study hold, of one station or of several."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from benchrig.gauge.design import RUNS, Design
from benchrig.gauge.state import state_of
from tests.gauge.kit import begun, bench, forged, gauge, lines_of, write


def study(folder: Path) -> tuple[Design, Path, Path]:
    """A study of two stations, each with its copy."""
    bench(folder)
    design = begun(folder)
    shutil.copytree(folder / "study", folder / "copy")
    return design, folder / "study", folder / "copy"


def test_what_is_missing_is_in_the_order_of_the_design(tmp_path: Path) -> None:
    design, here, copy = study(tmp_path)
    forged(here, design, [(cell, 20.0) for cell in design.order if cell.appraiser == "Anna"])
    state = state_of([here])
    assert state.missing == [cell for cell in design.order if cell.appraiser == "Ben"]
    assert state.kept_order
    forged(copy, design, [(cell, 20.0) for cell in design.order if cell.appraiser == "Ben"])
    assert (state_of([here, copy]).missing, state_of([here, copy]).kept_order) == ([], True)


def test_a_measurement_made_twice_counts_once_and_is_named(tmp_path: Path) -> None:
    design, here, copy = study(tmp_path)
    cell = design.order[0]
    forged(here, design, [(cell, 20.0)])
    forged(copy, design, [(cell, 20.0), (cell, 30.0)])
    state = state_of([copy, here, copy])
    assert [each.values["read temperature.value"].number for each in state.measured.values()] == [20.0]
    assert [(each.folder.parent.parent.name, each.folder.name) for each in state.doubled] == [
        ("study", "run-0000"), ("copy", "run-0001"),
    ]  # fmt: skip
    assert "it is the same run as" in state.doubled[0].why
    told = gauge(tmp_path, "status", "study", "copy")
    assert told.stdout.count("duplicate: ") == 2


def test_another_run_of_the_same_measurement_is_named_too(tmp_path: Path) -> None:
    design, here, _ = study(tmp_path)
    cell = design.order[0]
    forged(here, design, [(cell, 20.0)])
    later = here / RUNS / "later"
    later.mkdir()
    lines = lines_of(design, cell, 30.0, 1)
    lines[0]["run_id"] = "another"
    write(later, lines)
    state = state_of([here])
    assert [each.number for each in state.measured[cell].values.values()] == [20.0]
    assert [each.why for each in state.doubled] == [
        f"{cell.words} was measured before, in {here / RUNS / 'run-0000'}: the first one counts"
    ]


def test_what_is_not_a_measurement_is_named(tmp_path: Path) -> None:
    design, here, _ = study(tmp_path)
    cell = design.order[0]
    [foreign] = forged(here, design, [(cell, 20.0)], study={"study": "another", **cell._asdict()})
    damaged = here / RUNS / "damaged"
    damaged.mkdir()
    (damaged / "record.jsonl").write_text("no record\n")
    done = gauge(tmp_path, "status", "study", "--json")
    found = json.loads(done.stdout)
    assert (found["planned"], found["measured"], len(found["missing"])) == (8, 0, 8)
    assert {each["folder"].rpartition("/")[2]: each["why"][:24] for each in found["not_counted"]} == {
        "damaged": "study/runs/damaged/recor", foreign.name: "it is a run of another g",
    }  # fmt: skip


def test_folders_of_two_studies_are_refused(tmp_path: Path) -> None:
    study(tmp_path)
    (tmp_path / "study").rename(tmp_path / "old")
    begun(tmp_path)
    done = gauge(tmp_path, "status", "old", "study")
    assert (done.returncode, "'study' is another study than 'old'" in done.stderr) == (4, True)
    nowhere = gauge(tmp_path, "status", ".")
    assert "is not the folder of a gauge study" in nowhere.stderr


def test_an_order_that_was_not_kept_is_noticed(tmp_path: Path) -> None:
    design, here, _ = study(tmp_path)
    forged(here, design, [(cell, 20.0) for cell in reversed(design.order)])
    assert not state_of([here]).kept_order
    done = gauge(tmp_path, "result", "study")
    assert "the units were not measured in the order that was drawn" in " ".join(done.stdout.split())
