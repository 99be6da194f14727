"""A run that fails, and its twin, in two lines."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchrig.plan.loader import load_plan
from benchrig.record.model import Record
from benchrig.replay.checking import Compared, compare
from benchrig.replay.making import Twin, twin_of
from tests.run.kit import run

_NUMBERS = re.compile(r"0x[0-9A-F]+|[0-9][0-9.]*")


@dataclass
class Failed:
    """A run in a folder of its own: its plan, its record, its capture."""

    folder: Path
    record: Record
    more: dict[str, Any]

    @property
    def plan(self) -> Path:
        return self.folder / "plan.yaml"

    @property
    def capture(self) -> Path:
        return self.folder / "run.btsnoop"

    def twin(self, *, capture: bool) -> Twin:
        plan = load_plan(self.plan, self.more.get("given") or {})
        return twin_of(self.record, capture=self.capture if capture else None, plan=plan)

    def again(self, twin: Twin, **more: Any) -> Compared:
        return compare(self.record, run(self.plan, twin.text, **self.more | more).record)


def failed(folder: Path, plan: str, *devices: str, air: str | None = None, **more: Any) -> Failed:
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    ran = run(folder / "plan.yaml", *devices, capture=folder / "run.btsnoop", air=air, **more)
    return Failed(folder, ran.record, more)


def without_numbers(message: str) -> str:
    return _NUMBERS.sub("#", message)
