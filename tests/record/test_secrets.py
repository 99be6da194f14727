"""What is secret in a run that pairs."""

from __future__ import annotations

import pytest

from benchrig.record.secrets import Secrets


@pytest.mark.parametrize("line", ["passkey 842517", "PK842517x", "pin_842 517", "pin=842-517."])
def test_a_line_of_a_console_shows_no_passkey(line: str) -> None:
    assert "842" not in Secrets([], pairs=True).line(line)
    assert Secrets([]).line(line) == line


def test_other_numbers_stay() -> None:
    line = "00842517 ms, 42517, 1234567"
    assert Secrets([], pairs=True).line(line) == line
