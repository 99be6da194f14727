"""Make all pictures anew."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.html.browser import browser
from tests.pictures.pages import PAGES, TAKEN, mark_of_picture, marks, page_of, take
from tests.pictures.place import PICTURES
from tests.pictures.rehearsal import rehearsed
from tests.pictures.terminals import TERMINALS


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with TemporaryDirectory() as name:
        for file, drawn in TERMINALS.items():
            (PICTURES / file).write_text(drawn(Path(name)), "utf-8")
        results = rehearsed(Path(name) / "line")
        with browser() as chromium:
            taken = {file: _taken(chromium, file, page_of(file, results)) for file in PAGES}
    TAKEN.write_text(json.dumps(taken, indent=1) + "\n", "utf-8")


def _taken(chromium: Any, file: str, page: Path) -> dict[str, str]:
    take(chromium, file, page)
    return marks(page.read_text("utf-8")) | {"picture": mark_of_picture(file)}


if __name__ == "__main__":
    main()
