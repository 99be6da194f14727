"""What a browser shows of the pages of a rehearsal, as PNG; and the marks by which one that is out of date is seen without a browser.

Another version of matplotlib draws the same plot a hair elsewhere: plots are compared where the version is the same.
"""

from __future__ import annotations

import hashlib
import json
import re
from importlib.metadata import version
from pathlib import Path
from typing import Any

from tests.html.browser import Seen, opened
from tests.pictures.place import PICTURES

WIDTH, HEIGHT = 1400, 900
TAKEN = PICTURES / "taken.json"
# The page of each picture, below the results, and the heading at which the picture begins; "" is the top of the page.
PAGES = {
    "failed_run.png": ("2*-vfl3-000104/report.html", ""),
    "runs.png": ("rehearsal.html", ""),
    "reading.png": ("rehearsal.html", "read battery level.value"),
}
_PLOT = re.compile(r'(?s)<svg [^>]*class="plot".*?</svg>')
# From the top or from a heading on, to the end of the last line of a table or of text that has room.
_ROOM = """([heading, width, height]) => {
    const h = [...document.querySelectorAll('h2, h3')].find(e => e.textContent === heading);
    if (heading && !h) throw new Error(`no heading ${heading}`);
    const top = h ? h.getBoundingClientRect().top - 20 : 0;
    const open = e => e.tagName === 'SUMMARY' || !e.closest('details:not([open])');
    const lines = [...document.querySelectorAll('tr, p, li, dd, summary')].filter(open);
    const end = Math.max(...lines.map(e => e.getBoundingClientRect().bottom + 6).filter(end => end <= top + height));
    return {x: 0, y: top, width: width, height: Math.ceil(end - top)};
}"""


def page_of(file: str, results: Path) -> Path:
    """Of several runs of the unit: the first, which failed."""
    return min(results.glob(PAGES[file][0]))


def take(chromium: Any, file: str, page: Path) -> None:
    with opened(chromium, page, Seen()) as shown:
        shown.set_viewport_size({"width": WIDTH, "height": HEIGHT})
        room = shown.evaluate(_ROOM, [PAGES[file][1], WIDTH, HEIGHT])
        shown.screenshot(path=str(PICTURES / file), full_page=True, clip=room)


def marks(page: str) -> dict[str, str]:
    """Of the page without its plots, of its plots, and what drew them."""
    return {
        "page": _hash(_PLOT.sub("", page).encode()),
        "plots": _hash("".join(_PLOT.findall(page)).encode()),
        "matplotlib": version("matplotlib"),
    }


def is_stale(before: dict[str, str], now: dict[str, str]) -> bool:
    """Whether the page is another one than that of which the picture was taken."""
    drawn_alike = before["matplotlib"] == now["matplotlib"]
    return before["page"] != now["page"] or (drawn_alike and before["plots"] != now["plots"])


def mark_of_picture(file: str) -> str:
    return _hash((PICTURES / file).read_bytes())


def taken() -> dict[str, dict[str, str]]:
    """The marks of each picture: those of its page when it was taken, and that of the picture itself."""
    found: dict[str, dict[str, str]] = json.loads(TAKEN.read_text("utf-8"))
    return found


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
