"""`benchrig check --radio`: what the radio does not offer is said, and is no mistake."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.radio.offers import CANNOT, LACKS
from tests.cli.calling import call
from tests.cli.kit import here
from tests.cli.test_startup import started
from tests.run.kit import PLANS

PLAN = """plan: p
device: {select: {name: unit}}
steps:
  - scan:
    mode: passive
    expect:
      rssi: {min: -70 dBm}
      interval: {max: 150 ms}
  - connect:
    fresh: true
"""


def check(folder: Path, radio: str) -> tuple[int, list[str]]:
    (folder / "plan.yaml").write_text(PLAN)
    done = here("check", "plan.yaml", "--radio", radio, cwd=folder)
    return done.returncode, done.stdout.splitlines()[1:]


def test_each_remark_has_its_place(tmp_path: Path) -> None:
    code, said = check(tmp_path, "host")
    assert code == 0
    assert [line.partition(": ")[0] for line in said] == ["plan.yaml:8", "plan.yaml:5", "plan.yaml:10"]
    assert f"the limit on interval is not judged: {LACKS['host']['scan.interval']}; " in said[0]
    assert said[0].endswith("a run passes with may_lack: [scan.interval] only")
    assert "'mode: passive' does not work everywhere: " in said[1]


def test_a_reading_over_rounds_is_that_of_the_step_in_it(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(
        "plan: p\ndevice: {select: {name: u}}\nsteps:\n  - repeat: 2\n    steps: [{scan: }]\n"
        "    expect: {scan.rssi: {min: -70 dBm}, scan.interval.p95: {max: 150 ms}}\n"
    )
    said = here("check", "plan.yaml", "--radio", "host", cwd=tmp_path).stdout.splitlines()[1:]
    assert len(said) == 1
    assert f"the limit on scan.interval.p95 is not judged: {LACKS['host']['scan.interval']}; " in said[0]
    assert said[0].endswith("a run passes with may_lack: [repeat.scan.interval.p95] only")


def test_a_step_that_the_radio_cannot_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(CANNOT, "hci", {"connect": "it has no ear"})
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.yaml").write_text(PLAN)
    done = call("check", "plan.yaml", "--radio", "hci")
    assert done.exit_code == 7
    assert "plan.yaml:9: on the hci radio 'connect' cannot be done: it has no ear" in done.stdout


@pytest.mark.parametrize("radio", ["virtual", "virtual:unit.yaml", "hci:usb:0", "hci"])
def test_other_radios_offer_all_of_it(radio: str, tmp_path: Path) -> None:
    assert check(tmp_path, radio) == (0, [])


def test_an_unknown_radio_is_wrong_usage(tmp_path: Path) -> None:
    assert check(tmp_path, "carrier pigeon")[0] == 4


@pytest.mark.slow
def test_it_loads_no_radio() -> None:
    _, modules = started("check", str(PLANS / "end_of_line.yaml"), "--radio", "host")
    assert modules & {"bleak", "bumble", "dbus_fast"} == set()
