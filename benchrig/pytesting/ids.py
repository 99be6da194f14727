"""Node ids: the names that people wrote, without what means something to pytest. None of them depends on a place in the
plan or on the values of a run."""

from __future__ import annotations

import re

# A longer name is cut: ids are typed, and stand in lines.
LONGEST = 120
_BLANK = re.compile(r"\s+")
# Brackets begin the case of an item, colons part an id.
_OTHERS = str.maketrans({"[": "(", "]": ")"})


def id_text(*names: str) -> str:
    """The first name that is not blank, as part of an id."""
    texts = (shown(name).translate(_OTHERS) for name in names)
    texts = (re.sub("::+", ":", text).strip().strip(":") for text in texts)
    whole = next((text for text in texts if text), "unnamed")
    return whole if len(whole) <= LONGEST else whole[: LONGEST - 1].rstrip() + "…"


def shown(text: str) -> str:
    """The text without what no terminal can show, and no XML hold."""
    return _BLANK.sub(" ", "".join(each if each.isprintable() else " " for each in text))
