"""A first look at a YAML file: whether it is a plan. It loads nothing, for a project may be full of other YAML."""

from __future__ import annotations

import re
from pathlib import Path

SUFFIXES = (".yaml", ".yml")
# Of a plan file there is no more (source/yaml.py).
_MOST_BYTES = 1 << 20
# What may stand before the keys: blank lines, comments, directives, the mark of a document.
_BEFORE = re.compile(rb"(?:[ \t]*(?:#[^\n]*|%[^\n]*|---[ \t]*(?:#[^\n]*)?)?\n)*(?:---[ \t]+)?")
_KEY = rb"""["']?\b(?:%s)["']?[ \t]*:"""
_PLAN, _BODY, _DEVICE, _STEPS, _SELECT = (b"plan", b"devices?|steps|finally", b"devices?", b"steps", b"select")
# Of a file that says which faulty units a plan may pass: it names plan and device.
_ARGUED = b"argued"


def is_plan(path: Path) -> bool:
    """By the keys of its head: it has a name and something of a plan, or all but the name, to be told so. A file that
    cannot be read is none."""
    try:
        with path.open("rb") as file:
            text = _head(file.read(_MOST_BYTES))
    except OSError:
        return False
    inside = text.lstrip(b" ")
    start = b"" if inside.startswith(b"{") else b"^ {%d}" % (len(text) - len(inside))

    def has(*keys: bytes, start: bytes = start) -> bool:
        return all(re.search(start + _KEY % key, text, re.MULTILINE) for key in keys)

    is_meant = has(_PLAN, _BODY) or (has(_DEVICE, _STEPS) and has(_SELECT, start=b""))
    return is_meant and not has(_ARGUED)


def _head(data: bytes) -> bytes:
    """From the first key on. A plan in another encoding is a plan: it is refused with a word on that."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data.decode("utf-16", "ignore").encode()
    text = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text[found.end() :] if (found := _BEFORE.match(text)) else text
