"""The draft on disk: never over a file that is there, never a plan that does not load."""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchrig.errors import InternalError, PlanError
from benchrig.files import writable, write_whole
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan


def save(text: str, path: Path, *, force: bool) -> Plan:
    """Write the plan once it has been read back, as it was read. InternalError when it is no plan, StationError when
    the file cannot be written."""
    plan = read_back(text)
    writable(path, force=force)
    write_whole(path, text.encode(), advice="write it elsewhere")
    return plan


def read_back(text: str) -> Plan:
    """The plan that the text is. InternalError when it is none."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.yaml"
        path.write_text(text, encoding="utf-8")
        try:
            return load_plan(path)
        except PlanError as error:
            raise InternalError(f"the draft is not a plan: {error}") from error
