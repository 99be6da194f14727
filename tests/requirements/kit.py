"""Requirements of the trade: each a plan that its sound unit passes, and a twin with one fault that fails in one step.

`units/` holds the units, `names/` their attributes. A twin is the unit with one text of its file replaced.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.run.kit import Ran, run

HERE = Path(__file__).parent
# how each unit is found
SELECT = {"lock": "DL-*", "meter": "EM-*", "pump": "IP-*", "band": "WB-*"}
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

    @property
    def plan(self) -> str:
        device = f"device:\n  select: {{name: {SELECT[self.unit]}}}\n  use: {HERE}/names/{self.unit}.yaml\n"
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

    def run(self, device: str, **options: Any) -> Ran:
        return run(self.plan, device, given=self.given, **options)
