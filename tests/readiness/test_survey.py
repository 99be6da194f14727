"""What a look at a station makes of what a process says, does not say, or how it ends."""

from __future__ import annotations

import json
import sys

import pytest

from benchrig.readiness.checks import Attached, Check, Station
from benchrig.readiness.survey import probe

BEGINNING = '{"kind":"beginning","radio":"host","check":"D-Bus"}'
YES = '{"kind":"check","radio":"host","check":"D-Bus","state":"yes","found":"it answers"}'


async def looked(script: str, patience: float = 10.0) -> Station:
    """The station after a shell script has looked."""
    station = Station()
    await probe(["sh", "-c", script], "host", station, patience)
    return station


async def test_words_are_kept_and_handed_on_in_order():
    heard = []
    station = Station(heard.append)
    attached = {"kind": "attached", "radio": "hci:usb:0", "what": "USB 1234:5678", "usable": True}
    await probe(["sh", "-c", f"echo '{YES}'; echo '{json.dumps(attached)}'"], "host", station)
    assert heard == [*station.checks, *station.attached]
    assert station.checks == [Check("host", "D-Bus", "yes", "it answers")]
    assert station.attached == [Attached("hci:usb:0", "USB 1234:5678", True)]


async def test_what_a_library_prints_is_passed_over():
    station = await looked(f"echo 'libusb: warning'; echo '{{}}'; echo '{YES}'; echo '[1'")
    assert [check.state for check in station.checks] == ["yes"]


async def test_a_process_that_hangs_is_a_no_where_it_hung():
    (check,) = (await looked(f"echo '{BEGINNING}'; exec sleep 30", patience=0.3)).checks
    assert (check.check, check.state, check.blocks) == ("D-Bus", "no", True)
    assert check.found == "no answer within 0.3 s"


async def test_a_crash_is_told_by_its_signal():
    (check,) = (await looked(f"echo '{BEGINNING}'; kill -SEGV $$")).checks
    assert (check.check, check.found, check.blocks) == (
        "D-Bus",
        "the process that looked ended with signal SIGSEGV",
        True,
    )


async def test_a_system_that_ends_who_asks_for_bluetooth(monkeypatch):
    """macOS aborts a process without the permission (Apple's documentation of NSBluetoothAlwaysUsageDescription)."""
    monkeypatch.setattr(sys, "platform", "darwin")
    (check,) = (await looked(f"echo '{BEGINNING}'; kill -ABRT $$")).checks
    assert "privacy settings" in check.advice


async def test_a_process_that_fails_says_why():
    (check,) = (await looked("echo 'first' >&2; echo 'it is broken' >&2; exit 3")).checks
    assert check.found == "the process that looked ended with exit code 3: it is broken"


def check(radio: str, state: str = "yes", blocks: bool = False) -> Check:
    return Check(radio, "a check", state, "", blocks=blocks)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("checks", "ready"),
    [
        ([], []),
        ([check("host")], ["host"]),
        ([check("host"), check("host:hci0")], ["host:hci0"]),
        ([check("host"), check("host:hci0", "no", blocks=True), check("host:hci1", "no")], ["host:hci1"]),
        ([check("host"), check("host:hci0", "no", blocks=True)], []),
        ([check("hci:usb:0", "unknown")], ["hci:usb:0"]),
        ([check("hci:usb:0"), check("hci:usb:0", "no", blocks=True)], []),
    ],
)
def test_over_which_radios_can_be_tested(checks, ready):
    station = Station()
    for each in checks:
        station.add(each)
    assert station.ready == ready
