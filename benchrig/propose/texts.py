"""Patterns for texts that differ: serial numbers, dates, revisions."""

from __future__ import annotations

import re
from collections.abc import Sequence

_PARTS = re.compile(r"[0-9A-Za-z]+|[^0-9A-Za-z]+")
_RUNS = re.compile(r"[0-9]+|[A-Z]+|[a-z]+")
_CLASSES = ((re.compile(r"[0-9]*"), r"\d"), (re.compile(r"[A-Z]*"), "[A-Z]"), (re.compile(r"[a-z]*"), "[a-z]"),
            (re.compile(r"[0-9A-Z]*"), "[0-9A-Z]"), (re.compile(r"[0-9A-Za-z]*"), "[0-9A-Za-z]"))  # fmt: skip
_ANYTHING = r"[\s\S]"


def pattern_of(texts: Sequence[str]) -> str:
    """A regular expression that all the texts match: what they share stands as it is, the rest is a class of
    characters with its lengths. Of a single text the last part with a digit is taken to differ; without one all is
    as it is."""
    parts = [_PARTS.findall(text) for text in texts]
    if len(set(texts)) == 1:
        return _of_one(parts[0])
    if len({len(each) for each in parts}) == 1 and all(_fixed(column) for column in zip(*parts, strict=True)):
        return "".join(_of_part(column) for column in zip(*parts, strict=True))
    return _class_of(texts)


def _of_one(parts: list[str]) -> str:
    """'VFL3-000042' is VFL3- and six digits."""
    with_digit = [place for place, part in enumerate(parts) if re.search("[0-9]", part)]
    changing = with_digit[-1] if with_digit else None
    return "".join(
        "".join(_class_of([run]) for run in _RUNS.findall(part)) if place == changing else literal(part)
        for place, part in enumerate(parts)
    )


def _fixed(column: Sequence[str]) -> bool:
    """Whether these are parts of one kind; separators must be the same."""
    return len(set(column)) == 1 or all(part.isascii() and part.isalnum() for part in column)


def _of_part(column: Sequence[str]) -> str:
    if len(set(column)) == 1:
        return literal(column[0])
    runs = [_RUNS.findall(part) for part in column]
    kinds = {tuple(_kind(run) for run in each) for each in runs}
    same_length = len({len(part) for part in column}) == 1
    if len(kinds) > 1 or (same_length and any(len({len(run) for run in each}) > 1 for each in zip(*runs, strict=True))):
        return _class_of(column)  # letters and digits change places
    return "".join(_of_run(run) for run in zip(*runs, strict=True))


def _of_run(column: Sequence[str]) -> str:
    return literal(column[0]) if len(set(column)) == 1 else _class_of(column)


def _kind(run: str) -> str:
    return next(name for fits, name in _CLASSES if fits.fullmatch(run))


def _class_of(texts: Sequence[str]) -> str:
    """The narrowest class of characters for all of them, as often as they have it."""
    name = next((name for fits, name in _CLASSES if all(fits.fullmatch(text) for text in texts)), _ANYTHING)
    lengths = sorted({len(text) for text in texts})
    least, most = lengths[0], lengths[-1]
    if least == most:
        return "" if most == 0 else name if most == 1 else f"{name}{{{most}}}"
    return f"{name}{{{least},{most}}}"


def literal(text: str) -> str:
    """The text in a regular expression; what needs no escape has none, for people read it."""
    return re.sub(r"[\\.^$*+?{}\[\]|()]", r"\\\g<0>", text)
