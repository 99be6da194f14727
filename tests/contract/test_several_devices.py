"""A plan with two devices on a controller behind TCP: both linked at once, each step on its own, a fault of one in its step."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.radios import air_on_tcp, run_on
from tests.run.test_several_devices import HEAD, KEY, LOCK, STEPS, unit

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
# the first one is read while the second one is looked for and connected to, and again when that has left
PLAN = HEAD + (
    STEPS + "  - {disconnect: , device: key}\n"
    "  - {scan: , for: 500 ms, device: key, name: it is heard again}\n"
    "  - {read: state, device: lock, name: the first one is still there, expect: {value: {equals: 7}}}\n"
)


def written(folder: Path, *texts: str) -> list[Path]:
    """Device files."""
    paths = [folder / f"device{number}.yaml" for number, _ in enumerate(texts)]
    for path, text in zip(paths, texts, strict=True):
        path.write_text(text, encoding="utf-8")
    return paths


@pytest.mark.parametrize(
    ("lock", "verdicts"), [(LOCK, ["pass"] * 7), (unit(1, "08"), ["pass", "pass", "fail", *["pass"] * 3, "fail"])]
)
def test_two_devices_on_hci(tmp_path: Path, lock: str, verdicts: list[str]) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    with air_on_tcp(*written(tmp_path, lock, KEY)) as radio:
        record = run_on(radio, plan, tmp_path / "results").record
    assert [step.ended.verdict for step in record.steps if step.ended] == verdicts
    assert {key: seen.name for key, seen in record.devices.items()} == {"lock": "unit 1", "key": "unit 2"}
