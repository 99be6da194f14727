"""Numbers drawn with characters."""

from __future__ import annotations

from collections.abc import Sequence

_BLOCKS, _ASCII = " ▁▂▃▄▅▆▇█", " .-=#"


def extent(values: Sequence[float | None]) -> tuple[float, float] | None:
    """The smallest and the largest of the values; None without any."""
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else None


def strip(values: Sequence[float | None], height: int = 1, *, ascii_only: bool = False) -> list[str]:
    """A column of characters a value, in so many lines, the top one first. The smallest value is the lowest column
    that can be seen, the largest fills all lines; None leaves its column empty."""
    glyphs = _ASCII if ascii_only else _BLOCKS
    found = extent(values)
    if found is None:
        return [" " * len(values)] * height
    steps = len(glyphs) - 1
    filled = [_filled(value, *found, height * steps) for value in values]
    return [
        "".join(glyphs[min(steps, max(0, cells - line * steps))] for cells in filled)
        for line in reversed(range(height))
    ]


def scale(low: str, high: str, height: int) -> list[str]:
    """What stands beside so many lines of a strip: its ends, or the one value where both are the same."""
    marks = [""] * height
    if low == high:
        marks[height // 2] = high
    else:
        marks[0], marks[-1] = high, low
    return marks


def _filled(value: float | None, low: float, high: float, most: int) -> int:
    """How many steps of `most` a value fills; values that are all the same fill half."""
    if value is None:
        return 0
    span = high - low
    return (most + 1) // 2 if not span else 1 + round((value - low) / span * (most - 1))
