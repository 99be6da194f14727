"""A person at the terminal while a unit pairs: what he is asked and shown, and that nothing of it is kept."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path

import pytest

from tests.cli.screen import attended
from tests.run.kit import plan_text
from tests.run.test_pairing import SHOWS, lock

LARGE = re.compile(r"^ +([0-9]{3}) ([0-9]{3})$", re.MULTILINE)


@pytest.mark.parametrize(
    ("pair", "security", "script", "code"),
    [
        ("keyboard", SHOWS, [("within 28 s:", "42517\n"), ("within 28 s:", "042517\n")], 0),
        ("keyboard", SHOWS, [("within 28 s:", "042518\n")], 1),
        ("yes/no", "{capability: yes/no}", [("show this number?", "y\n")], 0),
        ("yes/no", "{capability: yes/no}", [("show this number?", "n\n")], 1),
        ("display", "{capability: keyboard, passkey: '042517'}", [], 1),
    ],
)  # fmt: skip
def test_somebody_answers(tmp_path: Path, pair: str, security: str, script: list[tuple[str, str]], code: int) -> None:
    plan = plan_text(f"  - pair: {pair}\n    expect: {{bonded: {{equals: true}}}}\n")
    (tmp_path / "plan.yaml").write_text(plan, "utf-8")
    (tmp_path / "device.yaml").write_text(lock(security), "utf-8")
    with contextlib.chdir(tmp_path):
        done, terminal = attended("run", "plan.yaml", "--radio", "virtual:device.yaml", script=script)
    shown = done.output + terminal.all_written
    assert done.exit_code == code, shown
    large = ["".join(found) for found in LARGE.findall(shown)]
    assert bool(large) == (pair != "keyboard")
    assert "unit 1" in shown
    left = "".join(path.read_text("utf-8") for path in tmp_path.rglob("results/**/*") if path.is_file())
    assert left
    assert [digits for digits in (*large, "042517", "042518") if digits in left] == []
