"""A watch at the terminal or in a pipe: what comes is shown, kept in a file, and summed up at the end."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchrig.cli.out import echo, print_json, tell
from benchrig.cli.watch_text import event_line, summary
from benchrig.cli.watch_view import WatchView
from benchrig.desk.series import Arrival
from benchrig.desk.watch_file import WatchFile
from benchrig.desk.watching import Event, Watch, event_as_data
from benchrig.tasks import first_of
from benchrig.terminal import console
from benchrig.terminal.live import show

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk


async def keep_watch(desk: Desk, attributes: tuple[str, ...], asked: dict[str, Any], save: Path | None, *,
                     force: bool, as_json: bool, live: bool) -> int:  # fmt: skip
    """How many values came. Without an end of its own, Ctrl-C is as good as one."""
    watch = Watch(desk, attributes, **asked)
    try:
        with _keeping(watch, desk, save, force=force) as keep:
            await (_show_live(watch, desk, keep) if live else _print_all(watch, keep, as_json))
    except asyncio.CancelledError:
        if asked["seconds"] is not None or asked["count"] is not None:
            raise
    finally:
        for line in summary(watch) if watch.unit else []:
            tell(line)
    await watch.check()
    return sum(each.count for each in watch.watched)


@contextlib.contextmanager
def _keeping(watch: Watch, desk: Desk, save: Path | None, *, force: bool) -> Iterator[Callable[[Event], None]]:
    """What takes every event to the file, if there is one."""
    if save is None:
        yield lambda _: None
        return
    file = WatchFile(save, watch, radio=desk.radio.name, simulated=desk.radio.simulated, force=force)
    try:
        yield file.add
    finally:
        file.close()
        tell(f"kept in {save}")


async def _print_all(watch: Watch, keep: Callable[[Event], None], as_json: bool) -> None:
    async with contextlib.aclosing(watch.events()) as events:
        async for event in events:
            keep(event)
            if as_json:
                print_json(event_as_data(watch, event))
            else:
                echo(event_line(event), err=isinstance(event, Arrival) and bool(event.wrong))


async def _show_live(watch: Watch, desk: Desk, keep: Callable[[Event], None]) -> None:
    """Until a key ends it, or the watch itself does."""
    title = f"{desk.radio.name}{'  SIMULATED' if desk.radio.simulated else ''}"
    view = WatchView(watch, title, ascii_only=console().options.ascii_only)
    desk.tell, desk.doing = view.note, view.wait

    async def follow() -> None:
        async with contextlib.aclosing(watch.events()) as events:
            async for event in events:
                keep(event)
                view.take(event)

    try:
        await first_of(follow(), show(view))
    finally:
        desk.tell = tell
