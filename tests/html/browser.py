"""A page as a browser has it: what it fetches, what it says, whether everybody can read it, on each screen and on paper.

Chromium of the system, without a window and without any habit of its own that asks a network.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = Path("/usr/bin/chromium")
_ALONE = "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking --disable-component-update --disable-sync"
NARROW, BROAD = {"width": 400, "height": 800}, {"width": 1400, "height": 1000}
# A4 landscape at 96 dots an inch, without the margins of 10 mm.
PAPER = {"width": 1046, "height": 718}


@dataclass
class Seen:
    """What a page did in a browser that it should not have done."""

    told: list[str] = field(default_factory=list)
    fetched: list[str] = field(default_factory=list)
    overflows: list[str] = field(default_factory=list)
    violations: list[str] = field(default_factory=list)
    papers: int = 0

    @property
    def wrong(self) -> dict[str, list[str]]:
        parts = {"told": self.told, "fetched": self.fetched, "overflows": self.overflows, "axe": self.violations}
        return {name: found for name, found in parts.items() if found}


@contextmanager
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not installed")
    with api.sync_playwright() as play:
        made = play.chromium.launch(executable_path=str(CHROMIUM), args=_ALONE.split())
        yield made
        made.close()


def looked_at(chromium: Any, path: Path) -> Seen:
    """The page light and dark, narrow, broad and on paper; a word or a request of its own is kept."""
    seen = Seen()
    for scheme in ("light", "dark"):
        with opened(chromium, path, seen, color_scheme=scheme) as page:
            for size in (NARROW, BROAD):
                page.set_viewport_size(size)
                _overflow(page, f"{scheme} {size['width']}", seen)
                _axe(page, f"{scheme} {size['width']}", seen)
    with opened(chromium, path, seen) as page:
        page.set_viewport_size(PAPER)
        page.emulate_media(media="print")
        _overflow(page, "paper", seen)
        seen.papers = len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True)))
    return seen


@contextmanager
def opened(chromium: Any, path: Path, seen: Seen, **options: Any) -> Iterator[Any]:
    context = chromium.new_context(viewport=BROAD, **options)
    page = context.new_page()
    page.on("console", lambda message: seen.told.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: seen.told.append(f"error: {error}"))
    page.on("dialog", lambda dialog: (seen.told.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    page.on("request", lambda request: request.url == path.as_uri() or seen.fetched.append(request.url))
    page.goto(path.as_uri())
    yield page
    context.close()


def _overflow(page: Any, where: str, seen: Seen) -> None:
    """What reaches over the right edge of the page and is in nothing that scrolls for itself."""
    found = page.evaluate(
        """() => { const edge = document.documentElement.clientWidth;
            if (document.documentElement.scrollWidth <= edge) return [];
            const own = e => { for (let p = e.parentElement; p && p !== document.body; p = p.parentElement)
                if (['auto', 'scroll', 'hidden', 'clip'].includes(getComputedStyle(p).overflowX)) return true; return false; };
            return [...document.body.querySelectorAll('*')].filter(e => e.getBoundingClientRect().right > edge + 1 && !own(e))
                .slice(0, 3).map(e => e.outerHTML.slice(0, 120)).concat(`${document.documentElement.scrollWidth} of ${edge}`); }"""
    )
    seen.overflows += [f"{where}: {each}" for each in found]


def _axe(page: Any, where: str, seen: Seen) -> None:
    axe = pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text("utf-8"))
    for found in page.evaluate("() => axe.run()")["violations"]:
        nodes = [node["html"][:120] for node in found["nodes"]]
        seen.violations.append(f"{where}: {found['id']}: {found['help']}: {len(nodes)}: {nodes[:3]}")


def picture(chromium: Any, path: Path, to: Path, height: int = 0, **options: Any) -> None:
    """All of the page as PNG, or of its top so much."""
    with opened(chromium, path, Seen(), **options) as page:
        if height:
            page.set_viewport_size({**BROAD, "height": height})
        page.screenshot(path=str(to), full_page=not height)
