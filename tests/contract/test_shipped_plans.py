"""The plans that ship, unchanged, on a controller behind TCP: as on the virtual radio. (host_stack has the host radio.)"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.compare import differences
from tests.contract.radios import RADIO_ALONE, air_on_tcp, run_on, run_shipped
from tests.run.kit import DEVICES, PLANS, SHIPPED

LOGGER = DEVICES / "logger.yaml"


@pytest.mark.slow
@pytest.mark.timeout(400)
@pytest.mark.parametrize("name", ["end_of_line", "nightly_regression", "box_end_of_line", "returned_box"])
def test_the_records_differ_only_in_the_radio_and_what_is_measured(name: str, tmp_path: Path) -> None:
    plan, device = PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml"
    given = RADIO_ALONE.get(name, {})
    on_air = run_on(f"virtual:{device}", plan, tmp_path, given)
    with air_on_tcp(device) as radio:
        on_tcp = run_shipped(lambda: run_on(radio, plan, tmp_path, given))
    assert (on_tcp.ended.exit_code, on_air.ended.exit_code) == (0, 0), on_tcp.story()
    assert differences(on_air.record, on_tcp.record) == []


def test_a_difference_is_found(tmp_path: Path) -> None:
    good = run_on(f"virtual:{LOGGER}", PLANS / "smoke.yaml", tmp_path)
    other = tmp_path / "other.yaml"
    other.write_text(LOGGER.read_text(encoding="utf-8").replace("97 %", "12 %"), encoding="utf-8")
    [found] = [
        d
        for d in differences(good.record, run_on(f"virtual:{other}", PLANS / "smoke.yaml", tmp_path).record)
        if "value" in d
    ]
    assert found.startswith("read battery level: value: ")
