"""Which files of the plans there are, and how they get into a folder."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.files import write_whole
from benchrig.source.problem import Problems
from benchrig.source.yaml import Mapping, Scalar, read_file

PLANS = "testplans"
SUFFIXES = (".yaml", ".md", ".py")  # those of building.py


@dataclass(frozen=True)
class Example:
    """A file: where it is in a folder, and what is in it."""

    path: Path
    data: bytes


def examples() -> list[Example]:
    """All files of the plans that ship."""
    root = _root()
    files = sorted(path for path in (root / PLANS).rglob("*") if path.suffix in SUFFIXES)
    return [Example(path.relative_to(root), path.read_bytes()) for path in files]


def _root() -> Path:
    """The folder that has the plans in it: that of an installed package, or the one around a checkout."""
    here = Path(__file__).parent
    return here if (here / PLANS).is_dir() else here.parents[1]


def place(folder: Path) -> list[Path]:
    """Write them all into a folder; the files that were written. UsageError where one of them exists: none is then
    written."""
    files = {folder / example.path: example.data for example in examples()}
    if existing := [path for path in files if os.path.lexists(path)]:
        more = f" and {len(existing) - 1} more" if len(existing) > 1 else ""
        raise UsageError(f"'{existing[0]}'{more} already exist{'s' * (not more)}", advice="name an empty folder")
    for path, data in files.items():
        write_whole(path, data, advice="name a folder in which you may write")
    return [*files]


def cautions(folder: Path) -> dict[str, str]:
    """The plans in the folder that do something to a unit, and their cautions."""
    found = {}
    for path in sorted((folder / PLANS).glob("*.yaml")):
        node = read_file(path, Problems())
        caution = node.get("caution") if isinstance(node, Mapping) else None
        if isinstance(caution, Scalar):
            found[path.name] = " ".join(str(caution.value).split())
    return found
