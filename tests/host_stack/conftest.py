"""Guests for tests; without what they need the tests are skipped, with the reason."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.host_stack import guest, kernel

Boot = Callable[..., guest.Done]


@pytest.fixture
def boot(tmp_path: Path) -> Boot:
    """Run a job in a guest of its own: `boot(job, devices, within=120.0, prelude=True)`."""
    if why := guest.missing():
        pytest.skip(why)
    try:
        image = kernel.cached()
    except kernel.NoKernel as error:
        pytest.skip(str(error))

    def run(job: str, *devices: Path, within: float, prelude: bool = True) -> guest.Done:
        done = guest.run_in_guest(image, tmp_path, job, devices=[*devices], within=within, prelude=prelude)
        assert done.code is not None, f"the guest did not end in time: {done.text('console.txt')[-2000:]}"
        return done

    return run
