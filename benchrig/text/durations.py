"""Times in a few characters."""

from __future__ import annotations


def seconds_text(seconds: float | None) -> str:
    """'101 ms', '2.4 s', '3 min'."""
    if seconds is None:
        return ""
    if seconds < 0.9995:
        return f"{seconds * 1000:.0f} ms"
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def age_text(seconds: float) -> str:
    """How long ago, no finer than a person can follow."""
    return f"{seconds:.1f} s" if seconds < 9.95 else f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def milliseconds(seconds: float) -> str:
    """In milliseconds up to ten seconds, as what can be compared with others of its kind."""
    return f"{1000 * seconds:.0f} ms" if seconds < 10 else f"{seconds:.1f} s"
