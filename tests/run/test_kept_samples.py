"""Samples that stay on record: of streams, of the levels of a scan, of values over rounds."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from benchrig.errors import PlanError, UsageError
from benchrig.plan.loader import load_plan
from benchrig.record.events import Kept, Reading
from benchrig.record.journal import read_record
from benchrig.sync import run_plan
from tests.cli.kit import here
from tests.run.kit import device_text, plan_text, run
from tests.run.test_stream_steps import NAMES, device

KEEP = "    keep_samples: {}\n"
COUNT = "    expect: {count: {min: 5}}\n"
WORDS = device_text("""
services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {characteristic: 7b1f0009-4d1e-4b6f-9a57-2f3c1de0a001, as: utf8, properties: [notify], value: hush-hush, notify: {period: 50 ms}}
""")


def kept(steps: str, unit: str = "", **how: object) -> dict[str, Kept | None]:
    ran = run(plan_text(steps, attributes=NAMES), unit or device(), **how)  # type: ignore[arg-type]
    assert ran.record.verdict == "pass", ran.record.message
    return {
        f"{step.planned.kind}.{reading.name}": reading.kept for step in ran.record.steps for reading in step.readings
    }


def test_all_samples_of_a_stream_with_their_times() -> None:
    steps = "  - notify: stream\n    for: 2 s\n" + KEEP.format(500) + "    expect: {length: {equals: 3 bytes}}\n"
    found = kept(steps)
    number, length = found["notify.value.number"], found["notify.length"]
    assert number is not None
    assert length is not None
    assert number.values == [*range(number.values[0], number.values[0] + len(number.values))]
    assert (len(number.values) in (39, 40), number.every, number.left_out) == (True, 1, 0)
    gaps = [b - a for a, b in zip(number.at, number.at[1:], strict=False)]
    assert 0.03 < min(gaps) < max(gaps) < 0.07
    assert set(length.values) == {3}
    assert found["notify.count"] is None


def test_of_more_the_kept_ones_are_spread_evenly() -> None:
    found = kept("  - notify: stream\n    for: 2 s\n" + KEEP.format(8) + COUNT)["notify.value.number"]
    assert found is not None
    assert (len(found.values), found.every, found.left_out) == (5, 8, 34) or found.left_out == 35
    assert {b - a for a, b in zip(found.values, found.values[1:], strict=False)} == {8}


def test_the_levels_of_a_scan() -> None:
    found = kept(
        "  - disconnect:\n  - scan:\n    name: again\n    for: 1 s\n"
        + KEEP.format(10)
        + "    expect: {count: {min: 5}}\n"
    )
    levels = found["scan.rssi"]
    assert levels is not None
    assert 5 <= len(levels.values) <= 10
    assert levels.left_out > 20
    assert all(-100 < each < 0 for each in levels.values)
    assert levels.at == sorted(levels.at)


def test_without_being_asked_nothing_is_kept() -> None:
    steps = "  - notify: stream\n    for: 1 s\n" + COUNT
    assert set(kept(steps).values()) == {None}


def test_values_over_rounds() -> None:
    steps = (
        "  - repeat: 6\n    name: soak\n    steps:\n      - notify: stream\n        for: 200 ms\n"
        + KEEP.format(100)
        + "    expect: {notify stream.count: {min: 1}}\n"
    )
    ran = run(plan_text(steps, attributes=NAMES), device())
    reading = ran.record.reading("soak", "notify stream.count")
    assert reading.kept is not None
    assert (len(reading.kept.values), reading.kept.left_out) == (6, 0)


def test_from_python_too(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(device(), encoding="utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text("  - notify: stream\n    for: 1 s\n" + COUNT, attributes=NAMES), encoding="utf-8")
    radio = f"virtual:{tmp_path / 'unit.yaml'}"
    found = run_plan(plan, radio=radio, keep_samples=5).reading("notify stream", "value.number").kept
    assert found is not None
    assert len(found.values) <= 5
    with pytest.raises(UsageError, match="0 to 10000, found -1"):
        run_plan(plan, radio=radio, keep_samples=-1)


def test_secret_samples_are_never_kept() -> None:
    names = "    words: {uuid: 7b1f0009-4d1e-4b6f-9a57-2f3c1de0a001, as: utf8}\n"
    steps = "  - notify: words\n    for: 1 s\n" + KEEP.format(50) + "    expect: {value: {equals: '${word}'}}\n"
    plan = plan_text(steps, attributes=names, head="given: {word: {secret: true}}\n")
    ran = run(plan, WORDS, given={"word": "hush-hush"})
    assert ran.record.verdict == "pass"
    [reading] = [each for each in ran.events if isinstance(each, Reading) and each.name == "value" and not each.partial]
    assert reading.kept is None
    assert b"hush" not in msgspec.json.encode(ran.events)


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("read: battery level\n    keep_samples: 5", "this read step has no samples to keep"),
        ("wait: 1 s\n    keep_samples: 5", "this wait step has no samples to keep"),
        (
            "notify: stream\n    for: 1 s\n    keep_samples: 10001",
            "expected a number of samples, 0 to 10000, found 10001",
        ),
        ("notify: stream\n    for: 1 s\n    keep_samples: -1", "found -1"),
        ("notify: stream\n    for: 1 s\n    keep_samples: some", "expected a"),
        (
            "repeat: 3\n    steps: [{read: battery level}]\n    keep_samples: 5",
            "this repeat step has no samples to keep",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(step: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "plan.yaml"
    file.write_text(plan_text(f"  - {step}\n", attributes=NAMES), encoding="utf-8")
    with pytest.raises(PlanError, match=said) as error:
        load_plan(file, {})
    assert len(error.value.problems) == 1


def test_the_option_is_for_all_steps_that_do_not_say_it(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(device(), encoding="utf-8")
    steps = "".join(f"  - notify: stream\n    name: {name}\n    for: 1 s\n{more}{COUNT}" for name, more in
                    (("one", ""), ("two", KEEP.format(0)), ("three", KEEP.format(4))))  # fmt: skip
    (tmp_path / "plan.yaml").write_text(plan_text(steps, attributes=NAMES), encoding="utf-8")
    done = here("run", "plan.yaml", "--radio", "virtual:unit.yaml", "--keep-samples", "100", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    [folder] = (tmp_path / "results").glob("*/")
    record = read_record(folder / "record.jsonl")
    kept = {name: record.reading(name, "value.number").kept for name in ("one", "two", "three")}
    assert kept["one"] is not None
    assert (len(kept["one"].values) in (19, 20), kept["one"].left_out) == (True, 0)
    assert kept["two"] is None
    assert kept["three"] is not None
    assert len(kept["three"].values) <= 4
