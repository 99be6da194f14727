"""`benchrig ready` on the real Linux stack: what is amiss is said, with what to do about it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.contract.radios import DEVICES
from tests.host_stack.conftest import Boot

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]

JOB = """
look() { python3 -m benchrig ready --json >> out/ready.jsonl 2>> out/ready.err; echo $? >> out/codes; }
look
bluetoothctl power off > /dev/null 2>&1
look
bluetoothctl power on > /dev/null 2>&1
( bluetoothctl --timeout 60 scan on > /dev/null 2>&1 & )
sleep 1
look
pkill bluetoothd
sleep 0.5
look
"""


def test_what_is_amiss_is_said(boot: Boot) -> None:
    done = boot(JOB, DEVICES, adapters=2, within=280)
    well, off, crowded, ended = [json.loads(line) for line in done.text("ready.jsonl").splitlines()]
    assert (done.text("codes").split(), done.text("ready.err")) == (["0", "0", "0", "7"], "")

    assert well["ready"] == ["host:hci0", "host:hci1"]
    assert {check["state"] for check in well["checks"]} == {"yes"}
    assert off["ready"] == ["host:hci1"]
    assert noes(off) == [("host:hci0", "switched on", "bluetoothctl power on")]
    assert [(radio, check) for radio, check, _ in noes(crowded)] == [("host:hci0", "not in use")]
    assert noes(ended) == [("host", "Bluetooth service", "start it (bluetoothd)")]


def noes(document: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (check["radio"], check["check"], check["advice"]) for check in document["checks"] if check["state"] != "yes"
    ]
