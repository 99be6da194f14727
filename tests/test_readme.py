"""What the README tells people to paste does what it says."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.kit import environment

PROJECT = Path(__file__).parents[1]


def block(heading: str) -> list[str]:
    """The lines of the first shell block below a heading."""
    text = (PROJECT / "README.md").read_text(encoding="utf-8").partition(f"## {heading}\n")[2]
    return text.partition("```sh\n")[2].partition("```")[0].splitlines()


@pytest.mark.slow
def test_the_first_five_minutes_line_by_line(tmp_path: Path) -> None:
    lines = block("The first five minutes with a prototype")
    assert len(lines) > 10
    (tmp_path / "testplans").symlink_to(PROJECT / "testplans")
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    script = "".join(f'{line}\necho "exit $? of {line.split()[0]} {line.split()[1]}" >&2\n' for line in lines)
    done = subprocess.run(
        ["bash", "-c", script], cwd=tmp_path, env=environment(PATH=path), capture_output=True, text=True, timeout=55
    )
    ends = [line for line in done.stderr.splitlines() if line.startswith("exit ")]
    assert [end for end in ends if not end.startswith("exit 0 ")] == [], done.stderr
    assert "PASS, SIMULATED" in done.stdout
