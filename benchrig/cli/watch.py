"""`benchrig watch`: what attributes of a device send by themselves."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.completing import attributes_argument
from benchrig.cli.desk import at_desk, device_options, format_options, known_names
from benchrig.cli.options import flag, json_option, option, path_option
from benchrig.cli.out import tell, whatever_the_output_does
from benchrig.cli.types import Time, Whole

if TYPE_CHECKING:
    from benchrig.desk.desk import DeskOptions
    from benchrig.steps.subscription import Mode
    from benchrig.values.format import Format

NOTHING_CAME = 5


@click.command(short_help="Show notifications and indications as they arrive.")
@attributes_argument()
@option("--for", "for_", type=Time(), help="Stop after TIME.")
@option("--count", type=Whole(1), help="Stop after N values of each attribute.")
@flag("--reconnect", help="Find the device again when the link is lost, and show the outage.")
@option(
    "--counter",
    metavar="FIELD",
    help="Show lost and duplicated values by this field, which counts up; value for a single one.",
)
@option(
    "--mode",
    type=click.Choice(["notification", "indication"]),
    help="What to ask for where an attribute offers both. Default: notification.",
)
@path_option("--save", help="Keep every value in FILE, .csv or .jsonl, too.")
@flag("--force", help="With --save: write over a file that exists.")
@format_options
@json_option("One JSON document a value and line.")
@device_options
def watch(attributes: tuple[str, ...], for_: float | None, count: int | None, reconnect: bool, counter: str | None, mode: Mode | None,
          save: Path | None, force: bool, form: Format | None, as_json: bool, desk: DeskOptions) -> None:  # fmt: skip
    """Connect, subscribe, and show every notification as it comes: on a terminal with its rate, statistics and a
    chart, in a pipe (and with --json) one line a value. A value that does not fit its format is shown, and counted;
    with --counter what was lost and duplicated is, too.

    Without --for and --count it goes on until Ctrl-C. Exits with 1 when the device is absent, sends nothing by itself
    under that name, or the link is lost (with --reconnect: when the device is not there at the end), and when a value
    did not fit its format; with 5 when nothing came.

    \b
    Example:
      benchrig watch temperature -d 'VFL-*'
      benchrig watch "battery level" temperature --for 1h --reconnect --save night.csv
      benchrig watch "log stream" --counter number -p product.yaml
    """
    from benchrig.cli.watching import keep_watch
    from benchrig.desk.watch_file import check_file
    from benchrig.terminal.live import is_possible

    known_names(desk, attributes)
    if save is not None:
        check_file(save, force=force)
    live = not as_json and is_possible()
    endless = for_ is None and count is None
    options = replace(desk, real_time=True) if live or endless else desk
    asked = {"form": form, "seconds": for_, "count": count, "reconnect": reconnect,
             "counter": counter, "mode": mode}  # fmt: skip
    came: int | None = None  # where the output was closed
    with whatever_the_output_does():
        came = at_desk(
            options, lambda at: keep_watch(at, attributes, asked, save, force=force, as_json=as_json, live=live)
        )
    if came == 0:
        with whatever_the_output_does():
            tell("benchrig: nothing arrived")
        sys.exit(NOTHING_CAME)
