"""What a terminal shows, as SVG: of a command, and of the live list of devices at one moment."""

from __future__ import annotations

import asyncio
import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from unittest import mock

from prompt_toolkit.data_structures import Size
from prompt_toolkit.output.vt100 import Vt100_Output
from rich.console import Console
from rich.text import Text

from benchrig.cli.scanning import live
from benchrig.desk.airlist import LIVE_WINDOW, AirList
from benchrig.desk.desk import Desk, DeskOptions
from benchrig.desk.running import run_desk
from benchrig.radio.specify import RadioChoice
from benchrig.terminal.live import REDRAW, Screen, View
from tests.pictures.place import DAY, ROOT, STATION, folder_stamp, stamp

WIDTH, HEIGHT = 112, 8
DEVICES = ("logger", "sensor", "transport_box")
# Seconds for which the live list has been listening.
MOMENT = 12.0
_CHANGING = (
    (r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", stamp(DAY)),
    (r"\d{8}T\d{6}", folder_stamp(DAY)),
    (r"(?m)^(\x1b\[2m)?station  .*?(\x1b\[0m)?$", rf"\1station  {STATION}\2"),
)
# Without the font that rich would have fetched.
_FORMAT = """<svg class="rich-terminal" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg">
<style>.{unique_id}-matrix {{ font-family: ui-monospace, Consolas, Menlo, monospace; font-size: {char_height}px; line-height: {line_height}px; }}
.{unique_id}-title {{ font-size: 18px; font-weight: bold; font-family: sans-serif; }}
{styles}</style>
<defs>{lines}</defs>
{chrome}<g transform="translate({terminal_x}, {terminal_y})">
{backgrounds}<g class="{unique_id}-matrix">{matrix}</g></g>
</svg>
"""


def run_of_a_plan(folder: Path) -> str:
    """A good unit, the command above."""
    command = "benchrig run testplans/smoke.yaml --radio virtual:testplans/devices/logger.yaml --seed 1"
    (folder / "testplans").symlink_to(ROOT / "testplans")
    return _svg(Text(f"$ {command}\n", "bold") + Text.from_ansi(_said(command, folder).rstrip()))


def _said(command: str, folder: Path) -> str:
    """On a terminal with colours, the same each day."""
    given = {"FORCE_COLOR": "1", "COLUMNS": str(WIDTH), "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"}
    words = [sys.executable, "-m", *shlex.split(command)]
    done = subprocess.run(words, cwd=folder, env={**os.environ, **given}, check=True,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # fmt: skip
    text = done.stdout.decode("utf-8")
    for pattern, constant in _CHANGING:
        text = re.sub(pattern, constant, text)
    return text


def live_list(_: Path) -> str:
    """What `benchrig scan` has drawn after so long; on the virtual clock it is the same each time."""
    drawn: list[str] = []

    async def shown(view: View) -> None:
        for _ in range(round(MOMENT / REDRAW)):
            view.lines(WIDTH, HEIGHT)
            await asyncio.sleep(REDRAW)
        drawn.append(_drawn(view))

    async def listening(desk: Desk) -> None:
        await live(desk, AirList(window=LIVE_WINDOW), "level", active=True)

    files = tuple(ROOT / "testplans" / "devices" / f"{name}.yaml" for name in DEVICES)
    with mock.patch("benchrig.cli.scanning.show", shown):
        run_desk(DeskOptions(RadioChoice("virtual", files=files), seed=1), listening, lambda _: None)
    return _svg(Text.from_ansi(drawn[0]))


def _drawn(view: View) -> str:
    """The view on a fresh screen, line by line: what moves the cursor down is the end of a line."""
    stream = io.StringIO()
    Screen(Vt100_Output(stream, lambda: Size(rows=HEIGHT, columns=WIDTH))).draw(view.lines(WIDTH, HEIGHT))
    down = re.sub(r"\x1b\[(\d*)B", lambda found: "\n" * int(found[1] or 1), stream.getvalue())
    return re.sub(r"\x1b\[[\d;]*[A-Zln-z]|\r", "", down).strip("\n")


def _svg(text: Text) -> str:
    console = Console(record=True, width=WIDTH, file=io.StringIO(), force_terminal=True, color_system="truecolor")
    console.print(text)
    return console.export_svg(title="benchrig", code_format=_FORMAT)


TERMINALS: dict[str, Callable[[Path], str]] = {"run.svg": run_of_a_plan, "scan.svg": live_list}
