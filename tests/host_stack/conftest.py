"""Guests for tests; without what they need the tests are skipped, with the reason."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.host_stack import guest, kernel

Boot = Callable[..., guest.Done]


@pytest.fixture
def boot(tmp_path: Path) -> Boot:
    """Run a job in a guest of its own: `boot(job, *devices, within=120.0)`, and options of run_in_guest."""
    if why := guest.missing():
        pytest.skip(why)
    try:
        image = kernel.cached()
    except kernel.NoKernel as error:
        pytest.skip(str(error))

    def run(job: str, *devices: Path, **options: Any) -> guest.Done:
        done = guest.run_in_guest(image, tmp_path, job, devices=[*devices], **options)
        assert done.code is not None, f"the guest did not end in time: {done.text('console.txt')[-2000:]}"
        return done

    return run
