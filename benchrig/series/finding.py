"""Which plans a call names: files, and folders in the order of their names."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchrig.plan.looks import SUFFIXES, is_meant
from benchrig.source.problem import Place, Problems, Source
from benchrig.source.yaml import file_bytes

_RECORD = "record.jsonl"


@dataclass
class Found:
    """The plans in their order, and the other YAML files of folders."""

    plans: list[Path] = field(default_factory=list)
    others: list[Path] = field(default_factory=list)


def find_plans(named: Sequence[Path], results: Path) -> Found:
    """What the words of a call name. Plans that runs have left below `results` are none of a folder. PlanError for a
    folder without a plan, for what cannot be read, and for a plan that is named twice."""
    found, problems = Found(), Problems()
    for path in named:
        if path.is_dir():
            _look_into(path, os.path.realpath(results), found, problems)
        else:
            found.plans.append(path)
    _check_twice(found.plans, problems)
    problems.raise_if_any()
    return found


def _look_into(folder: Path, results: str, found: Found, problems: Problems) -> None:
    before, mistakes = len(found.plans), problems.mistakes
    for path in _yaml_files(folder, results, problems):
        data = file_bytes(path, problems, str(path))
        if data is not None:
            (found.plans if is_meant(data) else found.others).append(path)
    if len(found.plans) == before and problems.mistakes == mistakes:
        problems.add(_at(folder), "expected a plan in this folder, found none", "name a folder with plans, or a plan")


def _yaml_files(folder: Path, results: str, problems: Problems) -> Iterator[Path]:
    """Those of the folder and of the folders in it; no hidden ones, and none that a run has left."""
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        problems.add(_at(folder), f"cannot be read: {error.strerror or error}", "name another folder")
        return
    for path in paths:
        if path.name.startswith("."):
            continue
        if path.is_dir():
            if not (path.is_symlink() or os.path.realpath(path) == results or (path / _RECORD).exists()):
                yield from _yaml_files(path, results, problems)
        elif path.suffix in SUFFIXES:
            yield path


def _check_twice(plans: Sequence[Path], problems: Problems) -> None:
    seen: dict[str, Path] = {}
    for path in plans:
        where = os.path.realpath(path)
        if where in seen:
            more = "" if seen[where] == path else f", as {seen[where]} too"
            problems.add(_at(path), f"this plan is named twice{more}", "name it once; --repeat 2 runs each plan twice")
        seen.setdefault(where, path)


def _at(path: Path) -> Place:
    return Place(Source(str(path), ""), 1, 1)
