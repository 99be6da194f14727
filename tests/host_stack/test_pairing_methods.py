"""Every capability of the bench with every one of a unit, legacy and Secure Connections, through BlueZ."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.host_stack import pairing
from tests.host_stack.conftest import Boot
from tests.radio.bumble_stack.method_table import CAPABILITIES, METHODS, cell

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def expected(bench: str, unit: str, *, secure: bool) -> dict[str, Any]:
    """By the table of the specification; either side asks for protection unless it has no input and no output."""
    method = METHODS[cell(bench, unit, secure_connections=secure, mitm=(bench, unit) != ("none", "none"))]
    authenticated = method != "just works"
    level = ("secure connections" if secure else "authenticated") if authenticated else "encrypted"
    return {"failure": "none", "method": method, "secure_connections": secure, "authenticated": authenticated,
            "bonded": True, "key_size": 16, "level": level}  # fmt: skip


def test_the_method_is_that_of_the_specification(boot: Boot, tmp_path: Path) -> None:
    (tmp_path / "units.yaml").write_text(pairing.units())
    done = boot("python3 -m tests.host_stack.pairing out/pairs.jsonl", tmp_path / "units.yaml", within=280)
    came = [json.loads(line) for line in done.text("pairs.jsonl").splitlines()]
    assert len(came) == 2 * len(CAPABILITIES) ** 2 + 2 * len(pairing.FIXED), done.text("job.err")[-3000:]
    wrong = []
    for each in came:
        unit = each["unit"].removeprefix("unit ")
        if unit in pairing.FIXED:
            assert each["number"] == int(unit)
            unit = "display"
        wish = expected(each["bench"], unit, secure=each["pairings"] == "either")
        wrong += [each] * ({name: each[name] for name in wish} != wish)
    assert wrong == []
    assert done.text("job.err") == ""
