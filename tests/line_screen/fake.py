"""A program with the screen of a line that does what is typed, and tells on standard error what has reached it.

    python -m tests.line_screen.fake SCENE [bell] [virtual]

A scene's name shows that scene; END ends the line; 'break' makes the view one that cannot be drawn.
"""

from __future__ import annotations

import asyncio
import sys
from dataclasses import replace
from typing import Any

from benchrig import signals
from benchrig.line.view import LineView
from benchrig.line_screen.screen import show
from benchrig.loop import attended_loop, in_loop, outside
from benchrig.radio.virtual.clock import VirtualLoop
from tests.line_screen.scenes import SCENES


class FakeLine:
    """What is read is the message of the view."""

    def __init__(self, shown: LineView) -> None:
        self.changed = asyncio.Event()
        self._view = shown
        self._left = False

    def view(self) -> LineView:
        return self._view

    async def read(self, text: str, seen: int | None = None) -> None:
        told("read", text)
        if text in SCENES:
            self._change(SCENES[text])
        elif text == "break":
            broken: Any = replace(self._view, slots=None)
            self._change(broken)
        else:
            self._change(
                replace(self._view, message=f"read {text}", state="ended" if text == "END" else self._view.state)
            )

    def interrupt(self) -> None:
        told("interrupt", "")
        self._change(replace(self._view, state="ended"))

    def leave(self) -> None:
        if not self._left:
            self._left = True
            told("leave", "")
            self._change(replace(self._view, state="ended"))

    def stray(self, error: str) -> None:
        told("stray", error)

    def _change(self, shown: LineView) -> None:
        self._view = shown
        self.changed.set()


def told(what: str, text: str) -> None:
    with open("told.txt", "a", encoding="utf-8") as file:
        file.write(f"{what} {text!r:.100} {len(text)}\n")


async def main(scene: str, *, bell: bool) -> None:
    line = FakeLine(SCENES[scene])
    with attended_loop(line.leave, line.stray), outside():
        try:
            await show(line, bell=bell)
        except Exception as error:
            told("failed", str(error))
        told("over", "")


if __name__ == "__main__":
    signals.begin()
    in_loop(main(sys.argv[1], bell="bell" in sys.argv), VirtualLoop if "virtual" in sys.argv else None)
