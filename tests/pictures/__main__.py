"""Make all pictures anew."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.html.browser import browser, picture
from tests.pictures.making import HASHES, PICTURES, TERMINALS, bench, hash_of, page, terminal


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with TemporaryDirectory() as name, browser() as chromium:
        folder = bench(Path(name))
        for file, command in TERMINALS.items():
            (PICTURES / file).write_text(terminal(command, folder), "utf-8")
        made = page(folder / "line")
        picture(chromium, made, PICTURES / "page.png", height=900)
        (PICTURES / HASHES).write_text(json.dumps({"page.png": hash_of(made)}, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
