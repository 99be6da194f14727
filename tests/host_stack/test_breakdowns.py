"""Adapter and service that fail while a command for the desk is at work: the station's fault, and said so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.host_stack.test_heard import UNITS

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
OFF, ON = "bluetoothctl power off > /dev/null 2>&1", "bluetoothctl power on > /dev/null 2>&1"
WAITING = "printf 'read battery level\\nwait 8 s\\nread battery level\\n' | benchrig session -d 'ADV-*' --radio host"
WATCHING = (
    "watch battery level\\nwait 3 s\\nread battery level\\nwait 2 s\\nunwatch battery level\\nsave session.yaml\\n"
)


def meanwhile(command: str, then: str, after: float) -> str:
    """A command during which something happens; its exit code is that of the whole."""
    return f"{ON}\n({command}; echo $? > code) & sleep {after}; {then}; wait; {ON}; exit $(cat code)"


def test_what_the_station_does_while_nothing_is_asked(shell: Shell, tmp_path: Path) -> None:
    wait, kept, scan, watch, watched, saved = shell(
        meanwhile(WAITING, OFF, 7),
        meanwhile(f"{WAITING} --reconnect", OFF, 7),
        meanwhile("benchrig scan --for 8s --radio host", OFF, 3),
        meanwhile("benchrig watch 'battery level' -d 'ADV-*' --for 20s --reconnect --radio host", OFF, 8),
        f"printf '{WATCHING}' | benchrig session -d 'ADV-*' --radio host",
        "benchrig run session.yaml --radio host -q --results results",
        devices=[UNITS],
        within=280,
    )
    for one in (wait, kept, scan, watch):
        assert (one.code, "switched off" in one.err) == (7, True), one.out + one.err
    assert (watched.code, watched.out.count("97 %") >= 2) == (0, True), watched.out + watched.err
    assert saved.code == 0, saved.out
