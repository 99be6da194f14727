"""Units that are looked for on the virtual air, without a run."""

import asyncio

from benchrig.radio.specify import open_simulated
from benchrig.radio.unit import Unit
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.source.problem import Problems


def at_units(work, tmp_path, selections, *devices):
    """What `work(units)` returns: a unit for each selection, told apart from the others, with these devices on the air."""
    files = []
    for index, text in enumerate(devices):
        files.append(tmp_path / f"{index}.yaml")
        files[-1].write_text(text)
    problems = Problems()
    models = load_devices(files, problems)
    problems.raise_if_any()

    async def main():
        radio = await open_simulated(models, seed=1)
        units = [Unit(radio, each, label=f"device {number}") for number, each in enumerate(selections)]
        for unit in units:
            unit.others = tuple(other for other in units if other is not unit)
        try:
            return await work(units)
        finally:
            await radio.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(main())
