"""`benchrig watch`: what attributes of a device send by themselves."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.desk import (
    Time,
    at_desk,
    complete_attribute,
    device_options,
    format_options,
    known_names,
    print_json,
    tell,
)

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.watching import Event, Watch
    from benchrig.values.format import Format

NOTHING_CAME = 5


@click.command(short_help="Watch what a device sends by itself.")
@click.argument("attributes", nargs=-1, required=True, metavar="ATTRIBUTE…", shell_complete=complete_attribute)
@click.option("--for", "for_", type=Time(), metavar="TIME", help="End after so long.")
@click.option(
    "--count", type=click.IntRange(1), metavar="N", help="End when so many values of each attribute have come."
)
@click.option("--reconnect", is_flag=True, help="Find the device again when the link is lost; the hole is shown.")
@click.option(
    "--save",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Keep every value in FILE, .csv or .jsonl, too.",
)
@format_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document a value and line.")
@device_options
def watch(attributes: tuple[str, ...], for_: float | None, count: int | None, reconnect: bool, save: Path | None,
          form: Format | None, as_json: bool, desk: DeskOptions) -> None:  # fmt: skip
    """Connect, subscribe, and show every notification as it comes: on a terminal with its rate, statistics and a
    chart, in a pipe (and with --json) one line a value. A value that does not fit its format is shown, and counted.

    Without --for and --count it goes on until Ctrl-C. Exits with 1 when the device is absent, sends nothing by itself
    under that name, or the link is lost; with 5 when nothing came.

    \b
    Example:
      benchrig watch temperature -d 'VFL-*'
      benchrig watch "battery level" temperature --for 1h --reconnect --save night.csv
    """
    from benchrig.cli.common import whatever_the_output_does
    from benchrig.cli.live import is_possible
    from benchrig.desk.watch_file import check_file

    known_names(desk, attributes)
    if save is not None:
        check_file(save)
    live = not as_json and is_possible()
    endless = for_ is None and count is None
    options = replace(desk, real_time=True) if live or endless else desk
    asked = {"form": form, "seconds": for_, "count": count, "reconnect": reconnect}
    came: int | None = None  # where the output was closed
    with whatever_the_output_does():
        came = at_desk(options, lambda at: _watch(at, attributes, asked, save, as_json=as_json, live=live))
    if came == 0:
        tell("benchrig: nothing came")
        sys.exit(NOTHING_CAME)


async def _watch(
    desk: Desk, attributes: tuple[str, ...], asked: dict[str, Any], save: Path | None, *, as_json: bool, live: bool
) -> int:
    """How many values came. Without an end of its own, Ctrl-C is as good as one."""
    from benchrig.cli.watch_text import summary
    from benchrig.desk.watching import Watch

    watch = Watch(desk, attributes, **asked)
    try:
        with _keeping(watch, desk, save) as keep:
            await (_show_live(watch, desk, keep) if live else _print_all(watch, keep, as_json))
    except asyncio.CancelledError:
        if asked["seconds"] is not None or asked["count"] is not None:
            raise
    finally:
        for line in summary(watch) if watch.unit else []:
            tell(line)
    return sum(each.count for each in watch.watched)


@contextlib.contextmanager
def _keeping(watch: Watch, desk: Desk, save: Path | None) -> Iterator[Callable[[Event], None]]:
    """What takes every event to the file, if there is one."""
    from benchrig.desk.watch_file import WatchFile

    if save is None:
        yield lambda _: None
        return
    file = WatchFile(save, watch, radio=desk.radio.name, simulated=desk.radio.simulated)
    try:
        yield file.add
    finally:
        file.close()


async def _print_all(watch: Watch, keep: Callable[[Event], None], as_json: bool) -> None:
    from benchrig.cli.watch_text import event_line
    from benchrig.desk.watching import event_as_data

    async with contextlib.aclosing(watch.events()) as events:
        async for event in events:
            keep(event)
            if as_json:
                print_json(event_as_data(watch, event))
            else:
                click.echo(event_line(watch, event))


async def _show_live(watch: Watch, desk: Desk, keep: Callable[[Event], None]) -> None:
    """Until a key ends it, or the watch itself does."""
    from benchrig.cli.common import console
    from benchrig.cli.live import show
    from benchrig.cli.watch_view import WatchView

    title = f"{desk.radio.name}{'  SIMULATED' if desk.radio.simulated else ''}"
    view = WatchView(watch, title, ascii_only=console().options.ascii_only)
    desk.tell = view.note

    async def follow() -> None:
        async with contextlib.aclosing(watch.events()) as events:
            async for event in events:
                keep(event)
                view.take(event)

    both = [asyncio.ensure_future(follow()), asyncio.ensure_future(show(view))]
    try:
        await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
    finally:
        desk.tell = tell
        for task in both:
            task.cancel()
        ended = await asyncio.gather(*both, return_exceptions=True)
    for error in ended:
        if isinstance(error, Exception):
            raise error
