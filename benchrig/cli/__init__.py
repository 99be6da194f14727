"""The command line. One file a command; only here is anything printed.

What a command needs is imported when it runs, so that `--help` and completion are instant.
"""

from __future__ import annotations

import click

from benchrig import __version__
from benchrig.cli.check import check
from benchrig.cli.completion import completion
from benchrig.cli.devices import devices
from benchrig.cli.run import run


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="benchrig")
def main() -> None:
    """Run YAML test plans on Bluetooth LE devices and leave a verdict.

    benchrig replaces no radio or safety certification, no local code and no licensed practice. A write can move,
    heat or unlock a device, and a wrong one can disable it.

    \b
    Exit codes: 0 pass, 1 the unit failed, 2 interrupted, 3 internal error, 4 plan or usage error,
    5 nothing was judged, 7 the station could not test.
    """


for command in (run, check, devices, completion):
    main.add_command(command)
