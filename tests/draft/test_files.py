"""Drafts from saved inspections and from records of runs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchrig.desk.inspection_file import Document, save_document
from benchrig.draft.compose import compose
from benchrig.draft.from_files import evidence_from
from benchrig.errors import UsageError
from benchrig.plan.loader import load_plan
from benchrig.propose.proposal import Basis
from benchrig.record.journal import Journal
from benchrig.steps.attribute import Names
from tests.desk.kit import inspected
from tests.draft.devices import SHELVES, THERMOMETER
from tests.draft.kit import changed, failures, limit_of, lines_about, loaded
from tests.run.kit import DEVICES, LINE, Ran, plan_text, run


def draft_from(*paths: Path, names: Names | None = None) -> str:
    return compose(evidence_from(paths), names or Names(), Basis()).text


def saved(folder: Path, *devices: str, suffix: str = "json") -> list[Path]:
    paths = [folder / f"{number}.{suffix}" for number in range(len(devices))]
    for path, device in zip(paths, devices, strict=True):
        save_document(Document(inspected(device), []), path)
    return paths


def recorded(path: Path, ran: Ran) -> Path:
    with Journal(path) as journal:
        for event in ran.events:
            journal.write(event)
    return path


@pytest.mark.parametrize("suffix", ["json", "yaml"])
def test_a_draft_from_inspections_passes_their_units(tmp_path, suffix):
    text = draft_from(*saved(tmp_path, *SHELVES[:3], suffix=suffix))
    assert failures(text, SHELVES[1]) == {}
    assert limit_of(text, "read: serial number", "value") == r"{matches: 'SH-\d{5}'}"
    assert "notify" not in text.partition("steps:")[2].replace("[read, notify]", "")


def test_one_inspection_is_a_guess_throughout(tmp_path):
    text = draft_from(*saved(tmp_path, THERMOMETER))
    assert failures(text, THERMOMETER) == {}
    assert lines_about(text, "read: temperature type")[1] == "# guess: the same in 1 value of 1 unit"


STEPS = """
  - read: temperature
  - read: battery level
  - notify: temperature
    for: 5 s
    expect: {rate: {min: 0.1 Hz}, gap_max: {max: 10 s}}
  - read: serial number
    name: identity
"""


def test_records_add_their_values_to_a_table(tmp_path):
    inspections = saved(tmp_path, *SHELVES[:2])
    head = plan_text(STEPS).replace("unit*", "Shelf-*")
    records = [recorded(tmp_path / f"{n}.jsonl", run(head, shelf, seed=n)) for n, shelf in enumerate(SHELVES[2:5])]
    text = draft_from(*inspections, *records)
    assert "# guess: 5 values of 5 units" in lines_about(text, "read: battery level")[1]
    assert lines_about(text, "read: model number")[1] == "# the same in 2 values of 2 units"
    assert failures(text, SHELVES[5]) == {}
    assert failures(text, changed(SHELVES[5], "period: 500 ms", "period: 1 s")).keys() == {"notify temperature"}


def test_records_alone_give_what_their_plan_read(tmp_path):
    head = plan_text(STEPS).replace("unit*", "Shelf-*")
    records = [recorded(tmp_path / f"{n}.jsonl", run(head, shelf, seed=n)) for n, shelf in enumerate(SHELVES[:4])]
    text = draft_from(*records)
    verbs = [step.kind.verb for step in loaded(text).steps]
    assert verbs == ["scan", "connect", "read", "notify", "read", "read", "disconnect"]
    assert limit_of(text, "read: serial number", "value") == r"{matches: 'SH-\d{5}'}", "a step with a name of its own"
    assert failures(text, SHELVES[4]) == {}
    assert "sd" in lines_about(text, "notify: temperature")[-2]


def test_records_alone_keep_the_names_of_a_plan(tmp_path):
    plan, device = LINE, DEVICES / "logger.yaml"
    record = recorded(tmp_path / "a.jsonl", run(plan, device))
    text = draft_from(record, names=load_plan(plan).names)
    assert failures(text, device) == {}
    assert limit_of(text, "read: supply voltage", "value") == "{min: 2685 mV, max: 3285 mV}"
    assert limit_of(text, "notify: log stream", "value.supply") == "{min: 2685 mV, max: 3285 mV}"


def test_a_refusal_on_record_is_expected(tmp_path):
    device = changed(SHELVES[0], "value: Shelf 2}", "value: Shelf 2, on_read: {att_error: read not permitted}}")
    steps = "  - read: model number\n    expect: {att_error: {equals: read not permitted}}\n"
    plan = plan_text(steps).replace("unit*", "Shelf-*")
    text = draft_from(recorded(tmp_path / "a.jsonl", run(plan, device)))
    assert limit_of(text, "read: model number", "att_error") == "{equals: read not permitted}"


def test_the_record_of_a_unit_that_failed_makes_no_draft(tmp_path):
    plan = plan_text("  - read: battery level\n    expect: {value: {min: 99 %}}\n").replace("unit*", "Shelf-*")
    record = recorded(tmp_path / "a.jsonl", run(plan, SHELVES[0]))
    with pytest.raises(UsageError, match="ended with fail: its unit is not known to be good"):
        draft_from(record)


@pytest.mark.parametrize("purpose", ["known bad", "clean-up"])
def test_a_pass_that_shows_no_good_unit_makes_no_draft(tmp_path, purpose):
    """A known-bad unit passes where the station finds nothing; a clean-up tests nothing."""
    made = run(plan_text(STEPS).replace("unit*", "Shelf-*"), SHELVES[0])
    record = recorded(tmp_path / "a.jsonl", made)
    head, *rest = record.read_text(encoding="utf-8").splitlines()
    line = {"shift": "s", "person": "p", "product": "shelf", "slot": "1", "purpose": purpose}
    record.write_text("\n".join([json.dumps(json.loads(head) | {"line": line}), *rest]) + "\n", encoding="utf-8")
    with pytest.raises(UsageError, match="at a line: its unit is not known to be good"):
        draft_from(record)


def test_the_record_of_a_run_that_was_cut_off_makes_no_draft(tmp_path):
    record = recorded(tmp_path / "a.jsonl", run(plan_text(STEPS).replace("unit*", "Shelf-*"), SHELVES[0]))
    record.write_text("\n".join(record.read_text(encoding="utf-8").splitlines()[:-1]) + "\n", encoding="utf-8")
    with pytest.raises(UsageError, match="was cut off"):
        draft_from(record)


def test_what_a_broken_inspection_did_not_come_to_is_remarked(tmp_path):
    breaking = changed(SHELVES[0], "value: 91 %", "value: 91 %, on_read: {disconnect: true}")
    made = compose(evidence_from(saved(tmp_path, breaking)), Names(), Basis())
    assert made.warning.startswith("inspection 0.json is not whole: the link was lost")
    assert "# inspection 0.json is not whole" in made.text
    assert "# temperature: not read: the link was lost before: no step reads it" in made.text


@pytest.mark.parametrize("name", ["other.json", "other.yaml", "other.jsonl", "missing.json"])
def test_files_of_another_kind_are_refused(tmp_path, name):
    if name.startswith("other"):
        (tmp_path / name).write_text('{"a": 1}', encoding="utf-8")
    with pytest.raises(UsageError):
        evidence_from([tmp_path / name])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("00002a19-0000", "00002a19-00"),
        ("00002a19-0000", "00002A19-0000"),
        ('"raw": "5B"', '"raw": "5"'),
        ('"raw": "5B"', '"raw": 5'),
        ('"0000180f-0000', '"x0000180f-0000'),
    ],
)
def test_inspections_that_were_spoilt_are_refused(tmp_path, old, new):
    (path,) = saved(tmp_path, SHELVES[0])
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(UsageError, match="is not an inspection"):
        evidence_from([path])
