"""What a record comes to by other limits is what a run with these limits comes to, on the same unit in the same air."""

from __future__ import annotations

import pytest

from tests.rejudge.revisions import compared


@pytest.mark.parametrize("name", ["twelve_checks", "returned_unit"])
def test_one_limit_is_another(name: str) -> None:
    assert compared(name, 8, 1) >= 4


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", ["end_of_line", "nightly_regression", "box_end_of_line", "box_nightly", "box_bringup"])
def test_one_limit_of_a_long_plan_is_another(name: str) -> None:
    """A part of `tests/rejudge/sweep.py`."""
    assert compared(name, 5, 1) >= 2
