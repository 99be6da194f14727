"""Requirements of the trade: each a plan that its sound unit passes, and a twin with one fault that fails in one step.

`units/` holds the units, `names/` their attributes. A twin is the unit with one text of its file replaced.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchrig.record.model import Record
from tests.run.kit import Ran, run

HERE = Path(__file__).parent
# how each unit is found
NAMES = {
    "lock": "DL-01",
    "meter": "EM-07",
    "pump": "IP-03",
    "band": "WB-12",
    "safe": "KS-04",
    "fob": "FB-21",
    "cabinet": "MC-05",
    "tag": "TG-02",
}
REACH = """
  - scan:
    for: 300 ms
    on_fail: stop
  - connect:
    attempts: 3
    on_fail: stop
"""


@dataclass(frozen=True)
class Requirement:
    """`steps` begin behind a scan and a connect, unless `reach` is another text. `fault` is what is written in the twin in
    place of what; it fails in the step `fails`, with this `cause` and a message in which `says` stands."""

    name: str
    unit: str
    steps: str
    fault: tuple[str, str]
    fails: str
    cause: str = "limit"
    says: str = ""
    left: tuple[str, ...] = ()  # steps that are left out in the twin
    top: str = ""  # more keys of the plan
    reach: str = REACH
    given: Mapping[str, str] = field(default_factory=dict)
    everywhere: bool = False  # also on a controller behind TCP and on the stack of Linux

    def __post_init__(self) -> None:
        assert self.unit in NAMES, f"{self.name}: add '{self.unit}' to NAMES above, with the name that it advertises"
        alone = "devices:" not in self.top
        assert alone or not self.everywhere, f"{self.name}: everywhere is for one device: `among` renames one"

    @property
    def plan(self) -> str:
        device = f"device:\n  select: {{name: {NAMES[self.unit]}}}\n  use: {HERE}/names/{self.unit}.yaml\n"
        if "devices:" in self.top:
            device = ""
        return f"plan: {self.name}\n{device}{self.top.lstrip()}steps:\n{self.reach.lstrip(chr(10))}{self.steps.lstrip(chr(10))}"

    @property
    def sound(self) -> str:
        return (HERE / "units" / f"{self.unit}.yaml").read_text(encoding="utf-8").replace("../names", f"{HERE}/names")

    @property
    def twin(self) -> str:
        before, after = self.fault
        assert self.sound.count(before) == 1, f"{self.name}: '{before}' is there {self.sound.count(before)} times"
        return self.sound.replace(before, after)

    def among(self, number: int, device: str) -> tuple[str, str]:
        """Plan and device where many units are in one air: this one has a name and an address of its own."""
        name = f"R{number:03}"
        device = re.sub(r"(device: .+)", rf"\1 {number}", device.replace(NAMES[self.unit], name))
        return self.plan.replace(NAMES[self.unit], name), device.replace("C4:1F:5A:40:00", f"C4:1F:5A:41:{number:02X}")

    def run(self, device: str, **options: Any) -> Ran:
        return run(self.plan, device, given=self.given, **options)


@dataclass(frozen=True)
class Entry:
    """A requirement in an air of many: on its sound unit, or on its twin."""

    one: Requirement
    number: int
    is_sound: bool
    folder: Path

    @property
    def device(self) -> Path:
        return self.folder / f"{self.number}_device.yaml"

    @property
    def plan(self) -> Path:
        return self.folder / f"{self.number}_plan.yaml"

    def write(self) -> Path:
        plan, device = self.one.among(self.number, self.one.sound if self.is_sound else self.one.twin)
        self.plan.write_text(plan, encoding="utf-8")
        self.device.write_text(device, encoding="utf-8")
        return self.device

    def wrong(self, record: Record) -> str:
        """What is not as it has to be; '' for nothing."""
        ended = record.ended
        root = next((each.planned.name for each in record.executions if ended and each.where == ended.root), None)
        found = ended and (root, ended.cause, ended.exit_code)
        expected = (None, None, 0) if self.is_sound else (self.one.fails, self.one.cause, 1)
        name = f"{self.one.name}, {'sound' if self.is_sound else 'twin'}"
        return "" if found == expected else f"{name}: {found}, {ended and ended.message}"


def entries(requirements: list[Requirement], folder: Path) -> list[Entry]:
    """Those for every radio, on the sound unit and on the twin."""
    chosen = [one for one in requirements if one.everywhere]
    pairs = [(one, is_sound) for one in chosen for is_sound in (True, False)]
    return [Entry(one, number, is_sound, folder) for number, (one, is_sound) in enumerate(pairs)]
