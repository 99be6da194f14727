"""What pairs and is refused alike on the radios whose stack is benchrig's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.cases import Case
from tests.contract.secure_cases import OWN_STACK
from tests.contract.test_cases import check_ends


@pytest.mark.parametrize("case", OWN_STACK, ids=str)
def test_a_plan_ends_alike_on_both_own_stacks(case: Case, radio: str, tmp_path: Path) -> None:
    check_ends(case, radio, tmp_path)
