"""Which bytes are a text."""

from __future__ import annotations

import pytest

from benchrig.values.readable import text_in


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"shelf 3", "shelf 3"),
        ("Höhe".encode(), "Höhe"),
        (b"", ""),
        (b"a1", ""),
        (b"12345", ""),
        (b"shelf\x00", ""),
        (b"shelf\n3", ""),
        (b"\xffabcd", ""),
    ],
)
def test_text(data: bytes, text: str) -> None:
    assert text_in(data) == text
