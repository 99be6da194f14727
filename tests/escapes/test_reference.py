"""The page of the reference against the code."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import msgspec

from benchrig.cli.escapes import escapes
from benchrig.escapes.argued import ArguedFile, Entry, load_argued
from benchrig.escapes.results import JUDGED, OUTCOMES, Came, Catch, Hunted, Result
from benchrig.faults.fault import WEIGHTS, Scene
from benchrig.faults.registry import faults_of
from tests.radio.virtual.bench import models
from tests.reference import EXAMPLES, SECTIONS, words
from tests.run.kit import DEVICES, PLANS


def column(section: str, head: str) -> list[str]:
    return [word for row in SECTIONS[section].table(head) for word in words(row[head])]


def test_words_and_keys() -> None:
    assert column("Looking for escapes", "weight") == [*WEIGHTS]
    rows = SECTIONS["What a fault may come to"].table("outcome")
    assert {row["outcome"].strip("`") for row in rows} == {*OUTCOMES}
    assert {row["outcome"].strip("`") for row in rows if "caught" in row["counts as"]} == JUDGED
    assert column("Arguing for escapes", "key") == [*ArguedFile.__struct_fields__]
    assert sorted(column("Arguing for escapes", "key of an entry")) == sorted(Entry.__struct_fields__)


def test_json() -> None:
    section = "JSON and JUnit of escapes"
    told = {*column(section, "key"), "format", "interrupted"}
    assert told == {*Hunted.__struct_fields__}
    assert column(section, "key of a result") == [*("fault", "outcome", "trials", "argument", "reason")]
    text = words(SECTIONS[section].text)
    kinds: tuple[type[msgspec.Struct], ...] = (Result, Came, Catch)
    assert {name for kind in kinds for name in kind.__struct_fields__} <= {*text}


def test_every_option_is_in_the_table() -> None:
    told = {word.split()[0] for word in column("Looking for escapes", "option")}
    options: list[Any] = [each for each in escapes.params if isinstance(each, click.Option)]
    known = {name for each in options for name in each.opts if name.startswith("--")}
    assert told <= known
    assert known - told == {"--port", "--start", "--air"}


def test_the_argued_example_is_read_and_argues_for_faults_that_exist(tmp_path: Path) -> None:
    [example] = [each for each in EXAMPLES if each.kind == "argued"]
    path = tmp_path / "argued.yaml"
    path.write_text(example.text, encoding="utf-8")
    argued = load_argued(path, PLANS / "end_of_line.yaml")
    sound = Scene(tuple(models((DEVICES / "logger.yaml").read_text("utf-8"))))
    names = [fault.name for fault in faults_of(sound)]
    assert all(any(entry.faults.fit(name) for name in names) for entry in argued.entries)
