"""The draft on disk: never over a file that is there, never a plan that does not load."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from benchrig.desk.target import writable
from benchrig.errors import InternalError, PlanError, StationError
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan


def save(text: str, path: Path, *, force: bool) -> Plan:
    """Write the plan once it has been read back, as it was read. InternalError when it is no plan, StationError when
    the file cannot be written."""
    try:
        with tempfile.TemporaryDirectory(prefix=".draft-", dir=path.absolute().parent) as folder:
            new = Path(folder) / path.name
            plan = _read_back(text, new)
            writable(path, force=force)
            os.replace(new, path)
            return plan
    except OSError as error:
        raise StationError(f"'{path}' cannot be written: {error.strerror or error}") from error


def read_back(text: str) -> Plan:
    """The plan that the text is. InternalError when it is none."""
    with tempfile.TemporaryDirectory() as folder:
        return _read_back(text, Path(folder) / "plan.yaml")


def _read_back(text: str, path: Path) -> Plan:
    path.write_text(text, encoding="utf-8")
    try:
        return load_plan(path)
    except PlanError as error:
        raise InternalError(f"the draft is no plan: {error}") from error
