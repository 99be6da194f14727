"""`benchrig ready` on the real Linux stack: what is amiss is said, with what to do about it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from benchrig.radio.foreign import START_SERVICE
from tests.contract.radios import DEVICES
from tests.host_stack.conftest import Shell

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]

READY = "benchrig ready --json"
OFF = "bluetoothctl power off > /dev/null 2>&1"
CROWDED = """bluetoothctl power on > /dev/null 2>&1
( bluetoothctl --timeout 60 scan on > /dev/null 2>&1 & )
sleep 1"""
ENDED = "pkill bluetoothd; sleep 0.5"


def test_what_is_amiss_is_said(shell: Shell) -> None:
    commands = [f"{before}\n{READY}" for before in ("", OFF, CROWDED, ENDED)]
    said = shell(*commands, devices=[DEVICES], adapters=2, within=280)
    assert [(one.code, one.err) for one in said] == [(0, ""), (0, ""), (0, ""), (7, "")]
    well, off, crowded, ended = [json.loads(one.out) for one in said]

    assert well["ready"] == ["host:hci0", "host:hci1"]
    assert {check["state"] for check in well["checks"]} == {"yes"}
    assert off["ready"] == ["host:hci1"]
    assert noes(off) == [("host:hci0", "switched on", "bluetoothctl power on")]
    assert crowded["ready"] == ["host:hci1"]
    assert ("host:hci0", "not in use", "end that scan: beside it a unit is heard once in about 11 s") in noes(crowded)
    assert {advice for _, _, advice in noes(crowded)} == {noes(crowded)[0][2]}
    assert noes(ended) == [("host", "Bluetooth service", START_SERVICE)]


def noes(document: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (check["radio"], check["check"], check["advice"]) for check in document["checks"] if check["state"] != "yes"
    ]
