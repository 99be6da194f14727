"""Packages that bring step kinds, reports and rules, as they are found where packages are installed: a folder with modules
and metadata, no more. The one of the reference, and others."""

from __future__ import annotations

import contextlib
import importlib
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

from benchrig.desk.findings.brought import checked_family
from benchrig.extensions import GROUPS, extensions
from benchrig.plan.step_kinds import checked_kind
from benchrig.report.brought import checked_report
from tests.reference import TESTPLANS, examples

PAGE = (TESTPLANS / "reference" / "packages.md").read_text("utf-8")
MODULES = {each.file: each.text for each in examples(PAGE, "packages.md") if each.kind == "python"}
POINTS = {
    "step kind": {"drift": "drifting_steps:Drift"},
    "report": {"tally": "drifting_tally:REPORT"},
    "rules": {"labels": "drifting_labels:FAMILY"},
}
_CACHES = (extensions, checked_kind, checked_report, checked_family)


def write(folder: Path, name: str, version: str, points: Mapping[str, Mapping[str, str]], **modules: str) -> None:
    """Install a package; `modules` are its files."""
    info = folder / f"{name.replace('-', '_')}-{version}.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n")
    sections = ((GROUPS[what], named) for what, named in points.items())  # type: ignore[index]
    text = "".join(f"[{group}]\n" + "".join(f"{k} = {v}\n" for k, v in named.items()) for group, named in sections)
    (info / "entry_points.txt").write_text(text)
    for module, source in modules.items():
        (folder / f"{module}.py").write_text(source)


def write_example(folder: Path) -> None:
    write(folder, "drifting", "1.2", POINTS, **{name.removesuffix(".py"): text for name, text in MODULES.items()})


@contextlib.contextmanager
def installed(folder: Path) -> Iterator[None]:
    """What is in the folder is installed meanwhile."""
    before = {*sys.modules}
    sys.path.append(str(folder))
    _forget()
    try:
        yield
    finally:
        sys.path.remove(str(folder))
        for name in {*sys.modules} - before:
            if (file := getattr(sys.modules[name], "__file__", None)) and Path(file).parent == folder:
                del sys.modules[name]
        _forget()


def _forget() -> None:
    importlib.invalidate_caches()
    for each in _CACHES:
        each.cache_clear()
