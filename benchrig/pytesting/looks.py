"""A first look at a YAML file: whether it is a plan. It loads nothing, for a project may be full of other YAML."""

from __future__ import annotations

import re
from pathlib import Path

SUFFIXES = (".yaml", ".yml")
# Of a plan file there is no more (source/yaml.py).
_MOST_BYTES = 1 << 20
_BODY = rb"device|devices|steps|finally"
_BLOCK = [re.compile(rb"""^["']?(?:%s)["']?[ \t]*:""" % words, re.MULTILINE) for words in (b"plan", _BODY)]
_FLOW = [re.compile(rb"""["']?\b(?:%s)["']?[ \t]*:""" % words) for words in (b"plan", _BODY)]


def is_plan(path: Path) -> bool:
    """By the keys of its head: it has a name and something of a plan. A file that cannot be read is none."""
    try:
        with path.open("rb") as file:
            text = file.read(_MOST_BYTES).removeprefix(b"\xef\xbb\xbf")
    except OSError:
        return False
    patterns = _FLOW if text.lstrip().startswith(b"{") else _BLOCK
    return all(pattern.search(text) for pattern in patterns)
