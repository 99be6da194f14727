"""Pictures from real runs of simulated devices: what a terminal shows, as SVG, and a page in a browser, as PNG.

What differs from one day to the next, `_CHANGING`, is the same in all pictures. The file of hashes says of which page a PNG was
taken, so that one that is out of date is seen without a browser.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from io import StringIO
from pathlib import Path

from rich.console import Console
from rich.text import Text

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "testplans" / "pictures"
HASHES = "pages.json"
WIDTH = 104
LOGGER = "virtual:testplans/devices/logger.yaml"
TERMINALS = {
    "run.svg": f"benchrig run testplans/smoke.yaml --radio {LOGGER} --seed 1",
    "scan.svg": f"benchrig scan --radio {LOGGER},testplans/devices/sensor.yaml,testplans/devices/transport_box.yaml --for 5s",
}
# What differs from one day and computer to the next, and what is written there.
_CHANGING = (
    (r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", "2026-11-27T12:30:00.000Z"),
    (r"\d{8}T\d{6}", "20261127T123000"),
    (r"(?m)^(\x1b\[2m)?station  .*?(\x1b\[0m)?$", r"\1station  line 2\2"),
)
# Without the font that rich would have fetched.
_FORMAT = """<svg class="rich-terminal" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg">
<style>.{unique_id}-matrix {{ font-family: ui-monospace, Consolas, Menlo, monospace; font-size: {char_height}px; line-height: {line_height}px; }}
.{unique_id}-title {{ font-size: 18px; font-weight: bold; font-family: sans-serif; }}
{styles}</style>
<defs><clipPath id="{unique_id}-clip-terminal"><rect x="0" y="0" width="{terminal_width}" height="{terminal_height}"/></clipPath>
{lines}</defs>
{chrome}<g transform="translate({terminal_x}, {terminal_y})" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}<g class="{unique_id}-matrix">{matrix}</g></g>
</svg>
"""


def bench(folder: Path) -> Path:
    """A folder with the plans that ship."""
    shutil.copytree(ROOT / "testplans", folder / "testplans", ignore=shutil.ignore_patterns("pictures"))
    return folder


def shown(command: str, folder: Path) -> str:
    """What a terminal of `WIDTH` shows of a command, with its colours, on the same day each time."""
    given = {"FORCE_COLOR": "1", "COLUMNS": str(WIDTH), "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"}
    words = [sys.executable, "-m", *shlex.split(command)]
    done = subprocess.run(words, cwd=folder, env={**os.environ, **given}, check=True,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # fmt: skip
    text = done.stdout.decode("utf-8")
    for pattern, constant in _CHANGING:
        text = re.sub(pattern, constant, text)
    return text


def terminal(command: str, folder: Path) -> str:
    """The same as SVG, with the command above."""
    console = Console(record=True, width=WIDTH, file=StringIO(), force_terminal=True, color_system="truecolor")
    console.print(Text(f"$ {command}", "bold"), soft_wrap=False)
    console.print(Text.from_ansi(shown(command, folder).rstrip()))
    return console.export_svg(title="benchrig", code_format=_FORMAT)


def page(folder: Path) -> Path:
    """The page of a set of runs: 40 good units, and every eighth that is too warm."""
    from benchrig.history.questions.filters import Filters
    from benchrig.pages.whole_set import page_of_set
    from tests.pages.kit import ON, a_line, line

    made = folder / "runs.html"
    with a_line(folder, line(simulated=True, radio="virtual")) as history:
        made.write_bytes(page_of_set(history, Filters(simulated=True), made, ON))
    return made


def hash_of(page: Path) -> str:
    """Without its plots: another version of matplotlib draws the same a hair elsewhere."""
    return hashlib.sha256(re.sub(rb"(?s)<svg .*?</svg>", b"", page.read_bytes())).hexdigest()


def taken() -> dict[str, str]:
    """Of which page each PNG was taken."""
    found: dict[str, str] = json.loads((PICTURES / HASHES).read_text("utf-8"))
    return found
