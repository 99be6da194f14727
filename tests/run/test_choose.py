"""A part of a plan on a sound device: what it reads has been written, and what else was left out is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.plan.loader import load_plan
from benchrig.report import explain, whole
from benchrig.report.files.junit import junit_xml
from benchrig.run.choose import choose_nodes, choose_steps, clean_up_alone
from tests.run.kit import device_text, plan_text, run

NAMES = """\
    command: {uuid: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40, as: hex}
    position: {uuid: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, unit: '%'}
    watering time: {uuid: 6b1d0003-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint16, unit: s}"""
VALVE = device_text(
    "services:\n  - service: 6b1d0000-9a53-4c86-8a3e-2f0f6c1d7e40\n    characteristics:\n"
    "      - {characteristic: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40, name: command, as: hex, properties: [write, notify],\n"
    "         value: '00', on_write: {store: false, set: {position: '50 %'}, notify: {command: 'AA'}}}\n"
    "      - {characteristic: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, name: position, as: uint8, unit: '%',\n"
    "         properties: [read], value: 0 %}\n"
    "      - {characteristic: 6b1d0003-9a53-4c86-8a3e-2f0f6c1d7e40, name: watering time, as: uint16, unit: s,\n"
    "         properties: [read, write], value: 10 s}"
)
STEPS = """\
  - write: watering time
    value: 20 s
  - exchange: command
    name: open to half
    raw: '01'
  - wait: 1 s
  - write: 6b1d0003-9a53-4c86-8a3e-2f0f6c1d7e40
    name: only once
    only_if: {{asked: {{equals: never}}}}
    value: 20 s
  - read: position
    expect: {{value: {{equals: 50 %}}}}{after}
  - read: watering time
    expect: {{value: {{equals: 20 s}}}}
"""
GIVEN = "given: {asked: {default: never}}\n"


def text(after: str = "") -> str:
    return plan_text(STEPS.format(after=after), attributes=NAMES, head=GIVEN)


@pytest.mark.parametrize("air", [None, "rough"])
def test_what_a_step_reads_is_written_before(air: str | None) -> None:
    """The whole chain: one that a condition may leave out does not stand for the one before it."""
    assert run(text(), VALVE, air=air).record.verdict == "pass"
    record = run(text(), VALVE, only=["read watering time"], air=air).record
    assert [(node.id, node.left_before) for node in record.run.nodes] == [
        ("1", []), ("2", []), ("3", []), ("6", ["4 open to half"]), ("8", ["4 open to half"]),
    ]  # fmt: skip
    assert record.verdict == "pass"
    deaf = VALVE.replace("value: 10 s}", "value: 10 s, on_write: {ignore: true}}")
    record = run(text(), deaf, only=["read watering time"], air=air).record
    assert (record.verdict, record.cause) == ("fail", "limit")


def test_what_changes_the_unit_otherwise_is_told() -> None:
    record = run(text(), VALVE, only=["read position"]).record
    told = "without the steps that change the unit before: 3 write watering time, 4 open to half, 6 only once; only_after: "
    assert told in whole.left_out(record)
    [failed] = [step for step in record.executions if step.ended and step.ended.verdict == "fail"]
    assert any(line.startswith(f"partial run: {told}") for line in explain.explanation(failed))
    named = run(text("\n    only_after: open to half"), VALVE, only=["read position"]).record
    assert named.verdict == "pass"
    assert "open to half" not in whole.left_out(named)
    assert not any(node.left_before for node in run(text(), VALVE).record.run.nodes)


def test_a_list_of_commands_brings_only_the_one_that_is_asked_for(tmp_path: Path) -> None:
    """An exchange writes itself what it hears from."""
    path = tmp_path / "plan.yaml"
    steps = "".join(f"  - {{exchange: command, name: number {at}, raw: '0{at}'}}\n" for at in range(4))
    path.write_text(plan_text(steps, attributes=NAMES), encoding="utf-8")
    plan = load_plan(path, {})
    assert [node.name for node in choose_steps(plan, ["number 3"])] == ["scan", "connect", "number 3"]
    assert len(choose_nodes(plan, ["6"], with_changes=True)) == 6


def test_a_failed_step_with_a_name_of_its_own_says_what_it_does() -> None:
    """Unless the name says that."""
    named = text("\n    name: after opening").replace("equals: 50 %", "equals: 51 %")
    record = run(named, VALVE).record
    assert whole.reason(record).startswith("step 7 after opening (read position): fail (limit): ")
    [failed] = [step for step in record.executions if step.ended and step.ended.verdict == "fail"]
    assert b"step 7 after opening (read position)" in junit_xml(record)
    for name in ("read position", "Position read after opening"):
        record = run(named.replace("name: after opening", f"name: {name}"), VALVE).record
        assert whole.reason(record).startswith(f"step 7 {name}: fail (limit): ")
    assert explain.title(failed) == "7 after opening"


CLEAN_UP = """\
  - read: watering time
    save: {value: before}
  - write: watering time
    value: 20 s
finally:
  - write: watering time
    name: as it was
    value: ${before}
  - exchange: command
    name: close
    raw: '00'
"""


def test_a_clean_up_alone_writes_nothing_that_a_step_would_have_to_read_first(tmp_path: Path) -> None:
    """What it would read now is what the cut run has written."""
    path = tmp_path / "plan.yaml"
    path.write_text(plan_text(CLEAN_UP, attributes=NAMES), encoding="utf-8")
    nodes, by_hand = clean_up_alone(load_plan(path, {}))
    assert [node.name for node in nodes] == ["scan", "connect", "close"]
    assert [node.name for node in by_hand] == ["as it was"]
