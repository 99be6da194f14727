"""Keys of a terminal as prompt_toolkit parses them, but for the begin of a paste."""

from __future__ import annotations

from collections.abc import Callable

from prompt_toolkit.input import Input
from prompt_toolkit.input.vt100_parser import Vt100Parser
from prompt_toolkit.key_binding import KeyPress

_PASTE = "\x1b[200~"


class TypedOnly:
    """Stands for a parser. A barcode may have the mark in it with which a paste begins: a parser waits for the end of
    such a paste, and takes all that is scanned after it, and Ctrl-C, too. Here the mark is the characters that it has."""

    def __init__(self, parser: Vt100Parser) -> None:
        self._parser, self._last = parser, ""

    @property
    def feed_key_callback(self) -> Callable[[KeyPress], None]:
        return self._parser.feed_key_callback

    def feed(self, data: str) -> None:
        for character in data:
            self._last = (self._last + character)[-len(_PASTE) :]
            if self._last == _PASTE:
                self._parser.flush()
            self._parser.feed(character)

    def flush(self) -> None:
        self._parser.flush()

    def feed_and_flush(self, data: str) -> None:
        self.feed(data)
        self.flush()


def typed_only(source: Input) -> None:
    """From now on what is pasted in this terminal is as if it was typed, its marks too. A console of Windows has no marks."""
    parser = getattr(source, "vt100_parser", None)
    if isinstance(parser, Vt100Parser):
        source.vt100_parser = TypedOnly(parser)  # type: ignore[attr-defined]
