"""Runs a plan on the real Linux Bluetooth stack, in the guest.

    python -m tests.host_stack PLAN DEVICE… [OPTION…]   DEVICE: a device file; several make one air. OPTION: of `benchrig run`
    python -m tests.host_stack --build                  build the kernel, or find it in the cache

Prints what `benchrig run` prints and ends with its exit code; what the guest left is in the folder that it names.
"""

from __future__ import annotations

import shlex
import sys
import tempfile
from itertools import dropwhile
from pathlib import Path

import click

from tests.host_stack import guest, kernel

NO_GUEST = 7


def main(arguments: list[str]) -> int:
    try:
        if arguments == ["--build"]:
            click.echo(str(kernel.build()))
            return 0
        options = [*dropwhile(lambda word: not word.startswith("-"), arguments)]
        files = [Path(name) for name in arguments[: len(arguments) - len(options)]]
        if len(files) < 2:
            click.echo(__doc__, err=True)
            return 4
        if why := guest.missing():
            raise kernel.NoKernel(why)
        return run(files[0], files[1:], options)
    except kernel.NoKernel as error:
        click.echo(f"host_stack: {error}", err=True)
        return NO_GUEST


def run(plan: Path, devices: list[Path], options: list[str]) -> int:
    share = Path(tempfile.mkdtemp(prefix="benchrig-guest-"))
    command = ["python3", "-m", "benchrig", "run", str(plan.resolve()), "--radio", "host", "--acknowledge", "--results"]
    job = shlex.join([*command, "out/results", *options])
    done = guest.run_in_guest(kernel.cached(), share, job + "\n", devices=devices, within=900.0)
    click.echo(done.text("job.out"), nl=False)
    click.echo(done.text("job.err"), nl=False, err=True)
    click.echo(f"{done.out}/results", err=True)
    return NO_GUEST if done.code is None else done.code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
