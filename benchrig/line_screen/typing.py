"""Keys to lines. A barcode reader is a keyboard that types fast and ends with Enter or Tab; a person types slowly, and
may correct what he types.

A barcode can have any character in it. What a person means as a command (Escape, Backspace, Ctrl-C, Ctrl-D) is one
only where it is alone: in a burst of keys with text in it, it is part of the text, for the line to refuse in words.
"""

from __future__ import annotations

from enum import Enum

# Of a line so many characters are kept: more than any barcode has, so that a longer one is refused as too long.
MOST = 10_240
# Keys that follow each other faster than any person types, in seconds.
BURST = 0.03
_ENDS = "\r\n\t"


class Said(Enum):
    """What keys ask for beside lines."""

    INTERRUPT = "interrupt"


class Typing:
    """The line that is being typed."""

    def __init__(self) -> None:
        self.text = ""
        self.lost = 0
        self._last = float("-inf")
        self._in_text = False

    def press(self, key: str, data: str, now: float, *, more: bool) -> list[str | Said]:
        """What a key comes to: lines that are complete, or a command. `data` is what the terminal sent for it, `more`
        whether text was read together with it and follows; `now` in seconds of a clock that never goes back."""
        burst = now - self._last <= BURST and self._in_text
        self._last = now
        if key == "<bracketed-paste>":
            return self._texts(data)
        if key in ("c-m", "c-j", "c-i"):
            self._in_text = False
            return self._ended()
        if is_text(key) or burst or more:
            self._in_text = True
            self._add(data)
            return []
        self._in_text = False
        return self._command(key, data)

    def _command(self, key: str, data: str) -> list[str | Said]:
        if key in ("c-c", "c-d"):
            return [Said.INTERRUPT]
        if key == "escape":
            self._clear()
        elif key == "c-h":
            self.text, self.lost = self.text[:-1], 0
        elif len(data) == 1:
            self._add(data)  # a control character, which the line refuses: without it the barcode would be another one
        return []

    def _texts(self, data: str) -> list[str | Said]:
        """Of what is pasted each line that is ended."""
        made: list[str | Said] = []
        for character in data:
            if character in _ENDS:
                made += self._ended()
            else:
                self._add(character)
        return made

    def _add(self, data: str) -> None:
        kept = data[: MOST - len(self.text)]
        self.text += kept
        self.lost += len(data) - len(kept)

    def _ended(self) -> list[str | Said]:
        line = self.text
        self._clear()
        return [line] if line.strip(" ") else []

    def _clear(self) -> None:
        self.text, self.lost = "", 0


def is_text(key: str) -> bool:
    """Whether a key types a character."""
    return len(key) == 1
