"""Guests for tests; without what they need the tests are skipped, with the reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.host_stack import guest, kernel

Boot = Callable[..., guest.Done]
Shell = Callable[..., "list[Said]"]


@dataclass(frozen=True)
class Said:
    """How a command ended, and what it wrote to its standard output and error."""

    code: int
    out: str
    err: str


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


@pytest.fixture
def shell(boot: Boot) -> Shell:
    """Run commands one after the other in one guest, `shell("benchrig scan --radio host", …, devices=[…])`; each may be
    a script of several lines. They start in `tmp_path` and leave their files there."""

    def run(*commands: str, devices: list[Path], **options: Any) -> list[Said]:
        job = 'benchrig() { python3 -m benchrig "$@"; }\n'
        for number, command in enumerate(commands):
            job += f"(\n{command}\n) > out/{number}.out 2> out/{number}.err < /dev/null; echo $? > out/{number}.code\n"
        done = boot(job, *devices, **options)
        return [
            Said(int(done.text(f"{number}.code")), done.text(f"{number}.out"), done.text(f"{number}.err"))
            for number in range(len(commands))
        ]

    return run
