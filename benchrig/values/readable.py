"""Whether bytes of which nobody knows the format are a text."""

from __future__ import annotations

# Fewer bytes than these are printable by chance too often.
LEAST = 4


def text_in(data: bytes) -> str:
    """The text that the bytes are, '' where they are none: printable characters with a letter among them."""
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return ""
    readable = len(data) >= LEAST and text.isprintable() and any(character.isalpha() for character in text)
    return text if readable else ""
