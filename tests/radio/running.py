"""Plans run on radios in real time, in the loop of the test: the other side may live there too."""

import asyncio
import contextlib

from benchrig.console.log import Keeping
from benchrig.plan.loader import load_plan
from benchrig.radio.port.choice import parse_ports
from benchrig.radio.port.opening import open_ports
from benchrig.radio.specify import open_simulated
from benchrig.radio.virtual import open_air
from benchrig.record.aggregate import build_record
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings
from benchrig.run.runner import Runner
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station


class Outcome:
    """What a run left."""

    def __init__(self, record, stray):
        self.record, self.stray, self.ended = record, stray, record.ended

    def step(self, name):
        return next(s.ended for s in self.record.steps if name in (s.planned.name, s.planned.kind))

    def reading(self, step, name):
        found = next(s for s in self.record.steps if step in (s.planned.name, s.planned.kind))
        return next(r for r in found.readings if r.name == name)

    @property
    def verdicts(self):
        return [s.ended.verdict for s in self.record.steps]

    @property
    def notes(self):
        return [note.text for note in self.record.notes]


async def run_plan(plan, opener, folder, *, during=None, within=30.0):
    """Run a plan (text, or a path) on the radio that `opener` opens. `during` sees each event with the runner. No
    task may be left of it, and no error that nobody waits for."""
    before = asyncio.all_tasks()
    stray, events = [], []
    loop = asyncio.get_running_loop()
    loop.set_exception_handler(lambda _, context: stray.append(str(context.get("exception") or context["message"])))
    if isinstance(plan, str):
        (folder / "plan.yaml").write_text(plan, encoding="utf-8")
        plan = folder / "plan.yaml"
    loaded = load_plan(plan, {})
    settings = RunSettings(Station("bench 1"), "radio", True, folder, acknowledged=True)

    def emit(event):
        events.append(event)
        if during is not None:
            during(event, runner)

    runner = Runner(loaded, choose_steps(loaded, (), None), settings, opener, Unattended(), emit)
    async with asyncio.timeout(within):
        await runner.run()
    # a unit in this loop may still have to notice the end
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(1):
            while left := asyncio.all_tasks() - before:
                await asyncio.sleep(0.01)
    assert not left, f"left running: {left}"
    assert not stray, stray
    return Outcome(build_record(events), stray)


def kept(folder):
    """Consoles in this folder, of a run that begins now."""
    return Keeping(folder, asyncio.get_running_loop().time())


def on_port(folder, port="tcp:127.0.0.1:0", start="", models=()):
    """An opener for a virtual radio with one port and, in `start`, a program beside it."""
    ports = parse_ports([port], [start] if start else [])
    return lambda: open_simulated(models, name="virtual", seed=1, ports=ports, keeping=kept(folder))


@contextlib.asynccontextmanager
async def served_air(folder, models=(), ports=1, port="tcp:127.0.0.1:0", faults=None):
    """An air with devices and TCP ports: its bench's own stack is idle, what connects to a port acts on the air."""
    air = await open_air(models, seed=1, faults=faults)
    try:
        opened = await open_ports(air.air, parse_ports([port] * ports, []), kept(folder))
        try:
            yield opened
        finally:
            await opened.close()
    finally:
        await air.close()
