"""The text of a plan that a run keeps: as it was, and without what is secret in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.plan.kept_text import MOST_TEXT, without_secrets
from benchrig.plan.loader import load_plan
from benchrig.record.secrets import MASK
from tests.run.kit import PLANS, device_text, plan_text, run

STEPS = "  - read: battery level\n    expect: {value: {min: 0 %}}\n"


def masked(text: str, *keys: str, pairs: bool = False) -> str:
    return "\n".join(without_secrets(text, {"passkey", *keys}, pairs=pairs))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("- pair:\n  passkey: 123456\n  name: it", f"- pair:\n  passkey: {MASK}\n  name: it"),
        ("- pair: {passkey: 12 34 56, name: x}", f"- pair: {{passkey: {MASK}"),
        ("- passkey:\n    123456\n  name: it", f"- passkey:\n    {MASK}\n  name: it"),
        ("passkey: |\n  a\n\n  b\nname: it", f"passkey: {MASK}\n  {MASK}\n\n  {MASK}\nname: it"),
        ("'passkey' : 'x'", f"'passkey' : {MASK}"),
        ("name: my passkey\nmy_passkey: x", "name: my passkey\nmy_passkey: x"),
        ("given:\n  pin: {secret: true, default: hush}\n  other: 1", f"given:\n  pin: {MASK}\n  other: 1"),
    ],
)
def test_what_stands_at_a_secret_key_is_hidden(text: str, shown: str) -> None:
    assert masked(text, "pin") == shown


def test_numbers_of_pairings_are_hidden_wherever_they_are() -> None:
    text = "rows: [123456, '123 456', 123-456]\nuuid: 0123456789"
    assert masked(text, pairs=True) == f"rows: [{MASK}, '{MASK}', {MASK}]\nuuid: 0123456789"
    assert masked(text) == text


def test_a_run_keeps_the_files_of_its_plan(tmp_path: Path) -> None:
    (tmp_path / "more.yaml").write_text(f"steps:\n{STEPS}", encoding="utf-8")
    file = tmp_path / "plan.yaml"
    file.write_text(plan_text("  - use: more.yaml\n"), encoding="utf-8")
    plan = load_plan(file, {})
    assert [(Path(each.file).name, each.text, each.left_out) for each in plan.text] == [
        ("plan.yaml", file.read_text(encoding="utf-8"), 0), ("more.yaml", f"steps:\n{STEPS}", 0)
    ]  # fmt: skip
    for step in plan.steps:
        name, _, line = step.planned().place.rpartition(":")
        [text] = [each.text for each in plan.text if each.file == name]
        assert step.kind.verb in text.split("\n")[int(line) - 1]


def test_it_is_on_record_and_bounded() -> None:
    long = plan_text(STEPS) + "# remark\n" * 30_000
    [kept] = run(long, device_text("services: [{service: battery, characteristics: [{characteristic: battery level, "
                                   "properties: [read], value: 50 %}]}]")).record.run.plan_text  # fmt: skip
    assert len(kept.text) <= MOST_TEXT
    assert kept.left_out > 0
    assert kept.left_out + kept.text.count("\n") + 1 == long.count("\n") + 1


@pytest.mark.parametrize("file", sorted(PLANS.glob("*.yaml")), ids=lambda path: path.stem)
def test_the_plans_that_ship_are_kept_as_they_are(file: Path) -> None:
    """Where they have no secrets nothing is hidden."""
    plan = load_plan(file, None)
    [first, *_] = plan.text
    hidden = [line for line in first.text.split("\n") if MASK in line]
    assert bool(hidden) == any(step.concealed for step in plan.steps) or plan.secret_names
