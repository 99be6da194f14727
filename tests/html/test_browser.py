"""All pages in a browser: nothing is fetched, nothing fails, everybody can read them, on every screen and on paper.

A new page gets its line in PAGES, with a name in it that would be markup.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from benchrig.html.document import document
from benchrig.html.elements import el
from benchrig.record.events import PlannedNode
from tests.html.browser import NARROW, Seen, browser, looked_at, opened

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
EVIL = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;" + "long" * 30


def _escapes() -> bytes:
    from benchrig.escapes.page.whole import page
    from benchrig.escapes.results import OUTCOMES
    from tests.escapes.page.test_page import ON, hunted, result

    nodes = [PlannedNode("1", EVIL, "read", EVIL, children=[PlannedNode("1.1", EVIL, "read", EVIL)])]
    found = [result(each, "{}" + EVIL + ": x", EVIL, node=EVIL) for each in OUTCOMES]
    return page(hunted(found, nodes, EVIL, notes=[EVIL], stale=[EVIL]), ON)


def _line(folder: Path) -> Any:
    from tests.pages.kit import a_line, line

    return a_line(folder, line(30, name=EVIL, plan=EVIL, message=EVIL, station=EVIL, simulated=True))


def _set() -> bytes:
    from benchrig.history.questions.filters import Filters
    from benchrig.pages.whole_set import page_of_set
    from tests.pages.kit import ON

    with TemporaryDirectory() as name, _line(Path(name)) as history:
        return page_of_set(history, Filters(simulated=True), Path(name) / "page.html", ON)


def _unit() -> bytes:
    from benchrig.pages.whole_unit import page_of_unit
    from tests.pages.kit import ON

    with TemporaryDirectory() as name, _line(Path(name)) as history:
        return page_of_unit(history, "VF-5", Path(name) / "page.html", ON, simulated=True)


def _golden() -> bytes:
    """Of a unit that checks the station: each reading in two slots, one of which drifts."""
    from benchrig.pages.whole_unit import page_of_unit
    from tests.history.questions.kit import entry
    from tests.pages.kit import ON, a_line

    golden = {"unit": "G", "purpose": "golden", "reference": EVIL, "person": EVIL, "plan": EVIL}
    runs = [
        entry(n, slot=slot, minutes=600 * n, readings={f"{EVIL}.value": 5.0 + (slot == EVIL) * n / 9 + n % 3}, **golden)
        for n in range(40)
        for slot in ["1", EVIL][n % 2 :][:1]
    ]
    with TemporaryDirectory() as name, a_line(Path(name), runs) as history:
        return page_of_unit(history, "G", Path(name) / "page.html", ON)


def _run() -> bytes:
    from benchrig.report.files.page import html_page
    from tests.report.page.test_page import evil_run

    return html_page(evil_run(EVIL))


def _studies() -> bytes:
    """A set whose runs are those of a gauge study."""
    from benchrig.gauge.design import Design, write_design
    from benchrig.history.adding import add_record
    from benchrig.history.opening import open_history
    from benchrig.history.questions.filters import Filters
    from benchrig.pages.whole_set import page_of_set
    from benchrig.record.journal import read_record
    from tests.gauge.kit import READING, forged
    from tests.pages.kit import ON

    design = Design(EVIL, EVIL, "hash", [READING], [EVIL[:90], "$x_1$ \u202eb"], [EVIL[-90:], "Ben"], 2)
    with TemporaryDirectory() as name, open_history(f"{name}/history.sqlite", make=True) as history:
        write_design(Path(name) / "study", design)
        values = ((cell, 20.0 + number % 3) for number, cell in enumerate(design.order))
        for run in forged(Path(name) / "study", design, values):
            add_record(history, read_record(run), run)
        return page_of_set(history, Filters(), Path(name) / "page.html", ON)


PAGES: dict[str, Callable[[], bytes]] = {
    "run": _run, "escapes": _escapes, "set": _set, "studies": _studies, "unit": _unit, "golden": _golden,
}  # fmt: skip


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as made:
        yield made


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_whole_and_can_be_read_by_everybody(name: str, chromium: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(PAGES[name]())
    seen = looked_at(chromium, path)
    assert seen.wrong == {}
    assert 1 <= seen.papers <= 20


NARROW_ROWS = """() => [...document.querySelectorAll('.readings tbody td:not(:empty), .stack tbody td:not(:empty)')]
    .filter(e => { const box = e.getBoundingClientRect(); return box.left < 0 || box.right > 400 || !box.width; })
    .map(e => e.outerHTML.slice(0, 120))"""


@pytest.mark.parametrize("name", ["run", "set", "unit"])
def test_verdict_and_limits_are_seen_on_a_narrow_screen(name: str, chromium: Any, tmp_path: Path) -> None:
    """Without moving anything sideways: the cells of a row stand below each other, each with the head of its column."""
    path = tmp_path / "page.html"
    path.write_bytes(PAGES[name]())
    with opened(chromium, path, Seen()) as page:
        page.set_viewport_size(NARROW)
        heads = page.evaluate("() => [...document.querySelectorAll('.stack td')].map(e => e.dataset.head)")
        assert {"run": "low", "set": "limits", "unit": "verdict"}[name] in heads
        assert page.evaluate(NARROW_ROWS) == []


BAD = {
    "told": '<script>console.error("x")</script>',
    "fetched": '<img alt="x" src="other.png">',
    "overflows": '<div style="width:2000px">x</div>',
    "axe": '<p style="color:#eee;background:#fff">pale</p>',
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_wrong_with_a_page_is_seen(kind: str, chromium: Any, tmp_path: Path) -> None:
    """The same page without the policy, which would keep most of this from doing anything."""
    text = document("t", "benchrig page", el("main", el("h1", "t"))).decode()
    start, end = text.index('<meta http-equiv="Content'), text.index('<meta name="viewport"')
    path = tmp_path / "page.html"
    path.write_text((text[:start] + text[end:]).replace("</main>", f"{BAD[kind]}</main>"), "utf-8")
    assert kind in looked_at(chromium, path).wrong


def test_the_policy_lets_no_foreign_script_run(chromium: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    text = document("t", "benchrig page", el("main", el("h1", "t"))).decode()
    path.write_text(text.replace("</main>", "<script>alert(1)</script></main>"), "utf-8")
    told = looked_at(chromium, path).told
    assert told
    assert not [each for each in told if each.startswith("dialog")]
