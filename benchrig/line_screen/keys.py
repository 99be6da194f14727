"""Keys of a terminal as prompt_toolkit parses them, but for one."""

from __future__ import annotations

from prompt_toolkit.input import Input
from prompt_toolkit.input.vt100_parser import Vt100Parser
from prompt_toolkit.key_binding import KeyPress
from prompt_toolkit.keys import Keys


class _Parser(Vt100Parser):
    """A barcode may have the mark in it with which a paste begins. Whoever waits for the end of such a paste takes
    all that is scanned after it, and Ctrl-C, too."""

    def _call_handler(self, key: str | Keys | tuple[Keys, ...], insert_text: str) -> None:
        if key is not Keys.BracketedPaste:
            super()._call_handler(key, insert_text)
            return
        self.feed_key_callback(KeyPress(Keys.Escape, insert_text[0]))
        for character in insert_text[1:]:
            self.feed_key_callback(KeyPress(character, character))


def typed_only(source: Input) -> None:
    """From now on what is pasted in this terminal is as if it was typed, its marks too. A console of Windows has no marks."""
    parser = getattr(source, "vt100_parser", None)
    if isinstance(parser, Vt100Parser):
        source.vt100_parser = _Parser(parser.feed_key_callback)  # type: ignore[attr-defined]
