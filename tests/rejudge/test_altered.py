"""A record that says what its readings do not come to."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.kit import here
from tests.rejudge.kit import UNIT, again
from tests.run.kit import plan_text, run

PLAN = plan_text("  - read: battery level\n    expect: {value: {min: 60 %}}\n")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("altered")
    (path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    (path / "unit.yaml").write_text(UNIT, encoding="utf-8")
    assert here("run", "plan.yaml", "--radio", "virtual:unit.yaml", "--acknowledge", cwd=path).returncode == 1
    return path


def record_of(folder: Path) -> tuple[Path, str]:
    [path] = folder.glob("results/*/record.jsonl")
    return path, path.read_text(encoding="utf-8")


def with_text(folder: Path, tmp_path: Path, before: str, after: str) -> Record:
    _, text = record_of(folder)
    assert before in text
    path = tmp_path / "record.jsonl"
    path.write_text(text.replace(before, after), encoding="utf-8")
    return read_record(path)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('"value":50,', '"value":70,', "read battery level, value: the record says passed False, its readings come to True"),
        ('"passed":false', '"passed":true', "read battery level, value: the record says passed True, its readings come to False"),
        ("below the minimum 60 % by 10 %", "nearly enough", "its readings come to '50 % is below the minimum 60 % by 10 %'"),
        ('"low":60', '"low":50', "read battery level, value: the record says low 50, its readings come to 60"),
        ('"verdict":"fail","exit_code":1', '"verdict":"pass","exit_code":0', "the run: the record says verdict 'pass', its readings come to 'fail'"),
        ('"raw":"32"', '"raw":"46"', "read battery level, value: the record says 50 %, its bytes 46 are 70 %"),
        ('"raw":"32"', '"raw":"no"', "read battery level, value: the record says 50 %, its bytes no are no hex digits"),
    ],
)  # fmt: skip
def test_it_is_named_by_step_and_reading(folder: Path, tmp_path: Path, before: str, after: str, said: str) -> None:
    found = again(with_text(folder, tmp_path, before, after), folder / "plan.yaml")
    assert any(said in each for each in found.altered), found.altered


def test_what_was_not_altered_is_not_named(folder: Path) -> None:
    path, _ = record_of(folder)
    found = again(read_record(path), folder / "plan.yaml")
    assert (found.as_run, found.altered) == (True, [])


STREAM = plan_text("  - notify: temperature\n    for: 1 s\n    expect: {value: {max: 20.5 °C}}\n")


@pytest.mark.parametrize(
    ("before", "after"),
    [("above the maximum", "near the maximum"), ("by 0.5 °C", "by 0.1 °C"), (": 21 °C", ": 29 °C"), (": 21 °C", ": warm")],
)  # fmt: skip
def test_the_words_on_the_first_sample_outside_are_held_against_the_stream(before: str, after: str) -> None:
    record = run(STREAM, UNIT).record
    assert again(record, STREAM).altered == []
    text = msgspec.json.encode(record).decode()
    assert before in text
    altered = msgspec.json.decode(text.replace(before, after), type=Record)
    assert any("the record says sentence" in each for each in again(altered, STREAM).altered)
