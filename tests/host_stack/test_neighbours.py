"""Other programs on the adapter, other benchrigs, and those that died: each is found out, and none is the unit's fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.host_stack.stage import SCAN
from tests.host_stack.test_heard import UNITS, plan

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
UNIT = "C0:00:00:00:0D:01"
READ = "benchrig read 'battery level' -d 'ADV-*' --radio host"
WATCH = "python3 -m benchrig watch 'battery level' -d 'ADV-*' --for 60s --radio host > watch.txt 2>&1 &"
ANYHOW = "benchrig read 'battery level' --manufacturer FFFF --radio host"
HOLD = f"""import asyncio
from bleak import BleakClient, BleakScanner
async def main():
    device = await BleakScanner.find_device_by_address("{UNIT}")
    async with BleakClient(device):
        await asyncio.sleep(600)
asyncio.run(main())
"""
TIMED = """plan: times
device: {select: {name: ADV-7}}
steps:
  - scan:
    within: 30 s
    expect: {found_after: {max: 1 ms}}
  - connect:
    within: 30 s
    expect: {elapsed: {max: 1 ms}}
  - disconnect:
    within: 40 s
    expect: {advertises_after: {max: 0.001 ms}}
"""


def test_two_benchrigs_take_turns(shell: Shell) -> None:
    both, beside, after = shell(
        f"({READ} > first.txt 2>&1; echo $? >> first.txt) & {READ}; code=$?; wait; cat first.txt; exit $code",
        f"{WATCH}\nsleep 8\n{READ} --within 4s; code=$?; kill -INT $!; kill $!; wait; exit $code",
        READ,
        devices=[UNITS],
        within=250,
    )
    assert (both.code, both.out.count("97 %"), both.out.splitlines()[-1]) == (0, 2, "0"), both.out + both.err
    assert (beside.code, "another benchrig (process" in beside.err) == (7, True), beside.err
    assert after.code == 0, after.err


@pytest.mark.parametrize("seconds", [8, 2.3], ids=["connected", "connecting"])
def test_the_link_of_one_that_was_killed_is_cleared_whatever_is_asked_for(shell: Shell, seconds: float) -> None:
    killed = f"{WATCH}\nsleep {seconds}; kill -9 $!"
    reads = shell(*(f"{killed}\n{read}" for read in (READ, ANYHOW)), "benchrig scan --for 2s -d 'ADV-*' --radio host",
                  devices=[UNITS], within=250)  # fmt: skip
    assert [one.code for one in reads] == [0, 0, 0], [one.err for one in reads]
    assert all("cleared a link that was left to" in one.err for one in reads[:2])


def test_links_of_other_programs_are_left_alone_and_named(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "hold.py").write_text(HOLD)
    (tmp_path / "times.yaml").write_text(
        "plan: p\ndevice: {select: {services: [environmental sensing]}}\nsteps:\n  - scan:\n"
    )
    name, anyhow, run, other, held = shell(
        f"python3 hold.py & sleep 5\n{READ} --within 4s",
        f"{ANYHOW} --within 4s",
        plan("times"),
        "benchrig read 'battery level' -d guarded --radio host",
        "bluetoothctl devices Connected",
        devices=[UNITS],
        within=250,
    )
    assert [one.code for one in (name, anyhow, run)] == [7, 7, 7], name.err + anyhow.err + run.out
    assert all(UNIT in one.err for one in (name, anyhow)), name.err + anyhow.err
    assert other.code == 0, other.err
    assert UNIT in held.out, "it was not taken away"


def test_while_another_program_scans_no_time_is_judged(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "times.yaml").write_text(TIMED)
    (tmp_path / "scan.py").write_text(SCAN)
    crowded, again, ready, alone = shell(
        "python3 scan.py > /dev/null & sleep 3\nbenchrig run times.yaml --radio host --results results",
        "benchrig run times.yaml --radio host --results results",
        "benchrig ready --listen 1s --radio host",
        "pkill -f scan.py; sleep 1\nbenchrig run times.yaml --radio host --results results",
        devices=[UNITS],
        within=280,
    )
    for one in (crowded, again):
        assert "is not judged: another program is scanning" in one.out.replace("\n", " "), one.out
        assert (one.code == 1, "not heard" in one.out) == (False, False), one.out
    assert (ready.code, "end that scan" in ready.out) == (7, True), ready.out
    assert alone.code == 1, alone.out


def test_scans_that_begin_at_the_same_moment_hang_nobody(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "scan.py").write_text(SCAN)
    moments = [0.4, 0.6, 0.8]
    reads = shell(
        *(
            f"python3 scan.py > /dev/null & sleep {at}\n{READ} --within 60s; code=$?; kill $!; exit $code"
            for at in moments
        ),
        devices=[UNITS],
        within=280,
    )
    assert [one.code in (0, 7) for one in reads] == [True] * 3, [one.err for one in reads]
