"""Units that want an encrypted link: Linux would pair unasked, and the unit would be blamed for its silence."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.host_stack.test_heard import OWN, UNITS, plan

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
REFUSAL = f"""plan: a refusal
device: {{select: {{name: guarded}}}}
steps:
  - scan:
  - connect:
  - read: {OWN.format("02")}
    expect: {{att_error: {{equals: insufficient encryption}}}}
  - read: battery level
    expect: {{value: {{equals: 97 %}}}}
"""
VALUE = REFUSAL.replace("\n    expect: {att_error: {equals: insufficient encryption}}", "")
# somebody's desktop would ask a person; this one says yes to everything
AGENT = "(echo agent NoInputNoOutput; echo default-agent; sleep 60) | bluetoothctl > agent.txt 2>&1 & sleep 2"


def test_a_pairing_is_noticed_and_refused_and_the_read_has_no_answer(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "refusal.yaml").write_text(REFUSAL)
    (tmp_path / "value.yaml").write_text(VALUE)
    refusal, value, beside, bonds, read, inspect, draft, check, hid = shell(
        plan("refusal"),
        plan("value"),
        f"{AGENT}\n{plan('value')}",
        "bluetoothctl devices Paired",
        f"benchrig read {OWN.format('02')} -d guarded --radio host",
        "benchrig inspect -d guarded --radio host",
        "benchrig draft -d guarded -o drafted.yaml --radio host",
        "benchrig check refusal.yaml --radio host",
        "benchrig read 'battery level' -d presenter --radio host",
        devices=[UNITS],
        within=290,
    )
    assert (refusal.code, "1 limit judged, 0 broken, 1 not judged" in refusal.out) == (5, True), refusal.out
    assert [(one.code, "Linux is trying to pair" in one.out) for one in (value, beside)] == [(1, True)] * 2, value.out
    assert bonds.out == ""
    assert [(one.code, "Linux is trying to pair" in one.err) for one in (read, hid)] == [(1, True)] * 2, read.err
    assert (inspect.code, "97 %" in inspect.out, "wants a paired link" in inspect.out) == (0, True, True), inspect.out
    assert (draft.code, "read: battery level" in (tmp_path / "drafted.yaml").read_text()) == (0, True), draft.err
    assert "the limit on att_error is not judged" in check.out
