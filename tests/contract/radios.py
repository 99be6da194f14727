"""A whole run on one of the radios that the contract suite knows, and the air in a process of its own."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.offers import LACKS, PARTLY
from benchrig.radio.specify import RadioChoice
from benchrig.record.accounting import unaccounted
from benchrig.record.events import RunEnded
from benchrig.record.model import Execution, Record
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station

DEVICES = Path(__file__).with_name("devices.yaml")
HELPER = "def double(bench, number):\n    return number * 2\n"
STARTED_WITHIN = 30.0
# What a plan that ships is given where nothing switches the power, and no time is for a long link.
RADIO_ALONE = {"nightly_regression": {"bench": "radio alone", "idle": "5 s"}}


@dataclass(frozen=True)
class Ran:
    record: Record

    @property
    def ended(self) -> RunEnded:
        assert self.record.ended is not None
        return self.record.ended

    def ends(self) -> tuple[str, ...]:
        """Of each step: the verdict, and the cause or the root."""
        return tuple(map(_end, self.record.steps))

    def step(self, name: str) -> Execution:
        return next(step for step in self.record.steps if step.planned.name == name)

    def notes(self) -> list[str]:
        return [note.text for step in self.record.steps for note in step.notes] + [n.text for n in self.record.notes]

    def story(self) -> str:
        """What a failed test has to show."""
        lines = [f"{s.planned.name}: {s.ended.verdict} {s.ended.message}" for s in self.record.steps if s.ended]
        return "\n".join([*lines, *self.notes(), f"{self.ended.exit_code} {self.ended.message}"])


def _end(step: Execution) -> str:
    end = step.ended
    assert end is not None
    more = end.cause or (end.root.label if end.root is not None else "")
    return f"{end.verdict} {more}".strip()


def run_on(radio: str, plan: str | Path, folder: Path, given: Mapping[str, str] = MappingProxyType({})) -> Ran:
    """Run a plan, a file or text, on the radio of this name, with everything that belongs to a run; what its kind lacks
    may be lacking."""
    file = plan if isinstance(plan, Path) else folder / "plan.yaml"
    if not isinstance(plan, Path):
        file.write_text(plan, encoding="utf-8")
        (folder / "helper.py").write_text(HELPER)
    loaded, choice = load_plan(file, dict(given)), RadioChoice.parse(radio)
    options = RunOptions(
        plan=loaded,
        nodes=choose_steps(loaded, (), None),
        station=Station("bench 1"),
        radio=choice,
        results=folder / "results",
        acknowledged=True,
        may_lack=frozenset([*LACKS[choice.kind], *PARTLY[choice.kind]]),
    )
    record = launch(options, Unattended()).record
    assert unaccounted(record) == []
    return Ran(record)


def run_shipped(run: Callable[[], Ran]) -> Ran:
    """In real time, twice when it has to be: a busy machine makes pauses of its own between notifications, and a limit
    of a plan that ships is no looser for that."""
    ran = run()
    return ran if ran.ended.exit_code == 0 else run()


def in_rough_air(devices: Path, folder: Path) -> Path:
    """A device file like this one, with a rough air around its devices."""
    file = folder / devices.name
    file.write_text(f"air: rough\n{devices.read_text(encoding='utf-8')}", encoding="utf-8")
    return file


def alone(unit: str, folder: Path) -> Path:
    """A device file with this device of the suite in it, all of them where none is called so: each takes a while to
    switch on."""
    written = rf"^  - device: {re.escape(unit)}\n(?:    .*\n)+"
    found = re.search(written, DEVICES.read_text(encoding="utf-8"), re.MULTILINE)
    if found is None:
        return DEVICES
    file = folder / "alone.yaml"
    file.write_text(f"devices:\n{found[0]}", encoding="utf-8")
    return file


@contextlib.contextmanager
def air_on_tcp(*devices: Path) -> Iterator[str]:
    """An air in a process of its own; the name of the radio whose controller is in it."""
    command = [sys.executable, "-m", "tests.contract.air", *map(str, devices)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            port = process.stdout.readline().split()[-1]
            yield f"hci:tcp:127.0.0.1:{port}"
        finally:
            process.terminate()
