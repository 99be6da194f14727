"""The process: `benchrig` and `python -m benchrig`."""

from __future__ import annotations

from typing import NoReturn

from benchrig import collector, lastwords


def start() -> NoReturn:
    collector.begin()
    lastwords.run(_command)


def _command() -> None:
    from benchrig.cli import main  # here, so that a signal meanwhile is held

    main(prog_name="benchrig")


if __name__ == "__main__":
    start()
