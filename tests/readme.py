"""The README taken apart: its blocks, and what they do where they are pasted."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.cli.kit import environment

PROJECT = Path(__file__).parents[1]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
PATH = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"


def block(heading: str, language: str) -> str:
    """The first block of a language below a heading."""
    text = README.partition(f"# {heading}\n")[2]
    return text.partition(f"```{language}\n")[2].partition("```")[0]


def pasted(folder: Path, script: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """In bash, in a folder that has the plans that ship."""
    (folder / "testplans").symlink_to(PROJECT / "testplans")
    env = environment(PATH=PATH, **variables)
    return subprocess.run(["bash", "-c", script], cwd=folder, env=env, capture_output=True, text=True, timeout=290)
