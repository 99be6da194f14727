"""Bad requests over a controller behind TCP: what a device does not bear is found there too, and a sound one bears it all."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.radios import Ran, air_on_tcp, run_on
from tests.run.kit import device_text, plan_text
from tests.run.test_robust import CAUTION, NAMES, SERVICES, SOUND

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]
# what is planted -> what it dies of
WEAK = {
    "unknown opcode, does: hang": "no answer within 1 s",
    "small MTU, does: reboot": "the link was lost (connection timeout)",
    "SMP garbage, does: reboot": "the link was lost (connection timeout)",
    "unknown channel, does: disconnect": "",
    "execution of nothing, does: disconnect": "the link was lost (remote user terminated connection)",
}


def run_robust(weak: str, folder: Path) -> Ran:
    file = folder / "device.yaml"
    file.write_text(device_text(SERVICES, more="mtu: 517\n" + (f"weaknesses: [{{against: {weak}}}]" if weak else "")))
    step = f"  - robust: 150\n    seed: 1\n    writes: [limit, label]\n    answers_within: 1 s\n    {SOUND}\n"
    plan = plan_text(step, attributes=NAMES, head=CAUTION)
    with air_on_tcp(file) as radio:
        return run_on(radio, plan, folder)


@pytest.mark.parametrize("weak", WEAK)
def test_a_weakness_is_found_on_hci(weak: str, tmp_path: Path) -> None:
    ran = run_robust(weak, tmp_path)
    found = {reading.name: reading.value for reading in ran.step("robust 150").readings}
    assert found["died"] is bool(WEAK[weak]), ran.story()
    if WEAK[weak]:
        assert found["death"] == WEAK[weak]
        assert len(found["killed_by"]) == 1
        assert [*(tmp_path / "results").rglob("killer.yaml")]


def test_a_sound_device_bears_everything_on_hci(tmp_path: Path) -> None:
    ran = run_robust("", tmp_path)
    assert ran.ended.exit_code == 0, ran.story()
