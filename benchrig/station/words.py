"""The words of a line that are typed or scanned as labels are: no label may be one of them."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

Said: TypeAlias = Literal["RETEST", "REPAIRED", "CLEAR", "END", "HELP"]
WORDS: tuple[Said, ...] = get_args(Said)


def word_in(text: str) -> Said | None:
    """The word that is meant, also in small letters: a person types it so."""
    return next((word for word in WORDS if text.strip().upper() == word), None)
