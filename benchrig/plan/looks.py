"""A first look at YAML: whether it is a plan, by the keys of its head. It loads nothing, for a project may be full of other
YAML."""

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
# Of a limit set, which names its plan.
_LIMITS = b"limit_set"


def is_plan(path: Path) -> bool:
    """Among any other YAML: it has a name and something of a plan, or all but the name, to be told so. A file that cannot be
    read is none."""
    try:
        with path.open("rb") as file:
            head = _Head(file.read(_MOST_BYTES))
    except OSError:
        return False
    is_one = head.has(_PLAN, _BODY) or (head.has(_DEVICE, _STEPS) and head.mentions(_SELECT))
    return is_one and not (head.has(_ARGUED) or head.has(_LIMITS))


def is_meant(data: bytes) -> bool:
    """In a folder that was named for its plans: what has a name, or all but that, is refused if it is none, not left out."""
    head = _Head(data)
    return (head.has(_PLAN) or head.has(_DEVICE, _STEPS)) and not (head.has(_ARGUED) or head.has(_LIMITS))


class _Head:
    """The text from its first key on, in whatever way it is written."""

    def __init__(self, data: bytes) -> None:
        self._text = _from_first_key(data)
        inside = self._text.lstrip(b" ")
        self._start = b"" if inside.startswith(b"{") else b"^ {%d}" % (len(self._text) - len(inside))

    def has(self, *keys: bytes) -> bool:
        """Whether all of these keys are at the top."""
        return all(re.search(self._start + _KEY % key, self._text, re.MULTILINE) for key in keys)

    def mentions(self, key: bytes) -> bool:
        return re.search(_KEY % key, self._text) is not None


def _from_first_key(data: bytes) -> bytes:
    """A plan in another encoding is a plan: it is refused with a word on that."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data.decode("utf-16", "ignore").encode()
    text = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text[found.end() :] if (found := _BEFORE.match(text)) else text
