"""The completion script in a real bash, and what completes while a plan is being written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.kit import benchrig, environment

TRY = """
eval "$(benchrig completion bash)"
COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
_benchrig_completion benchrig
printf '%s\\n' "${COMPREPLY[@]}"
"""


def completed(folder: Path, *words: str) -> list[str]:
    """What bash puts in the place of the last word."""
    command = folder / "benchrig"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m benchrig "$@"\n')
    command.chmod(0o755)
    path = f"{folder}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "--norc", "-c", TRY, "bash", *words],
        cwd=folder, env=environment(PATH=path), capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    assert done.stderr == ""
    return done.stdout.split("\n")[:-1]


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
@pytest.mark.parametrize(
    ("typed", "expected"),
    [("serial", r"serial\ number"), (r"serial\ nu", r"serial\ number"), ('"serial nu', "serial number")],
)
def test_names_with_blanks_are_one_word(tmp_path: Path, typed: str, expected: str) -> None:
    assert expected in completed(tmp_path, "benchrig", "read", typed)


@pytest.mark.parametrize("text", [None, "plan: unfinished\nsteps:\n  - re", "device: a device file\n"])
def test_a_plan_that_cannot_be_read_completes_nothing_and_says_nothing(tmp_path: Path, text: str | None) -> None:
    if text is not None:
        (tmp_path / "plan.yaml").write_text(text)
    words = {"COMP_WORDS": "benchrig read -p plan.yaml o", "COMP_CWORD": "4"}
    done = benchrig(cwd=tmp_path, env={"_BENCHRIG_COMPLETE": "bash_complete", **words})
    assert (done.returncode, done.stderr) == (0, "")
