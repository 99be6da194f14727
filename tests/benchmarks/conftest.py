"""What stands in for an adapter where checks are written by hand."""

import pytest_asyncio

from benchrig.radio.virtual import load_devices, open_air
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.source.problem import Problems
from tests.run.kit import DEVICES


def pytest_asyncio_loop_factories(config, item):
    """The async tests here run on the virtual clock."""
    return {"virtual": VirtualLoop}


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def radio():
    """The stack of a virtual radio with the sensor of the twelve checks."""
    air = await open_air(load_devices([DEVICES / "sensor.yaml"], Problems()), seed=1)
    yield air.stack
    await air.close()
