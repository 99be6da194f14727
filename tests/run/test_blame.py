"""Who is to blame for what goes wrong between two Bluetooth stacks: on the virtual radio, and over HCI on TCP."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from benchrig.radio.virtual import Faults
from benchrig.radio.virtual.faults import AirPdu, Fate
from tests.radio.hci.controller import opener
from tests.radio.running import run_plan, served_air
from tests.radio.virtual.bench import models
from tests.run.kit import device_text, plan_text, run

COMMAND, SILENT = "9c5e0001-4a6f-4c0e-9a57-31d0c2f7b0a1", "9c5e0002-4a6f-4c0e-9a57-31d0c2f7b0a1"
UNIT = device_text(f"""
mtu: 23
services:
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: 21 °C
        notify: {{period: 50 ms}}
      - {{characteristic: humidity, properties: [read, notify], value: 50 %, cccd: false}}
      - {{characteristic: pressure, properties: [read], value: 100 kPa, on_read: {{att_error: insufficient encryption}}}}
      - {{characteristic: {COMMAND}, name: command, properties: [write without response], as: hex}}
""")
ATTRIBUTES = f"    command: {{uuid: {COMMAND}, as: hex}}"
NOTIFICATION, READ_RESPONSE, BY_GROUP_TYPE_RESPONSE = 0x1B, 0x0B, 0x11
CONNECT = "steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    attempts: 3\n"


@pytest.fixture(params=["virtual", pytest.param("hci", marks=pytest.mark.slow)])
def ran(request: pytest.FixtureRequest, tmp_path: Path) -> Any:
    """Runs the steps with what becomes of PDUs on the air."""

    def on_virtual(steps: str, fate: Any = None, unit: str = UNIT) -> Any:
        return run(plan_text(steps, attributes=ATTRIBUTES, reach=CONNECT), unit, faults=Faults(fate=fate))

    def over_hci(steps: str, fate: Any = None, unit: str = UNIT) -> Any:
        async def main() -> Any:
            async with served_air(tmp_path, models(unit), faults=Faults(fate=fate)) as air:
                plan = plan_text(steps, attributes=ATTRIBUTES, reach=CONNECT)
                return await run_plan(plan, opener(air.ports[0].door.address), tmp_path)

        return asyncio.run(main())

    return on_virtual if request.param == "virtual" else over_hci


def replaced(opcode: int, att: str) -> Any:
    """Every PDU of this opcode comes as other octets."""
    octets = bytes.fromhex(att)

    def fate(pdu: AirPdu) -> Fate:
        return len(octets).to_bytes(2, "little") + b"\4\0" + octets if pdu.att_opcode == opcode else None

    return fate


def blamed(done: Any) -> tuple[str, int, int]:
    """The cause, the exit code and the step."""
    return done.ended.cause, done.ended.exit_code, done.ended.root.node


@pytest.mark.parametrize("answer", ["11 03 01 00 05", "11 06 01 00 00 00 0F 18", "11 00", "11 06 01 00"])
def test_a_discovery_that_is_answered_wrong_is_the_devices_fault(ran: Any, answer: str) -> None:
    done = ran("  - read: temperature\n", replaced(BY_GROUP_TYPE_RESPONSE, answer))
    assert blamed(done) == ("device", 1, "2")
    assert done.record.steps[1].ended.attempts == 1, done.ended.message


def test_a_cut_off_pdu_between_two_steps_is_the_devices_fault(ran: Any) -> None:
    steps = "  - notify: temperature\n    for: 200 ms\n  - wait: 1 s\n  - read: temperature\n    expect: {value: {min: 0 °C}}\n"
    notified: list[AirPdu] = []

    def fate(pdu: AirPdu) -> Fate:
        if pdu.att_opcode == NOTIFICATION:
            notified.append(pdu)
        return b"\2\0\4\0\x1b\3" if len(notified) == 2 and pdu is notified[-1] else None

    done = ran(steps, fate)
    assert done.ended.cause == "device"
    assert "the device sent a malformed PDU" in done.ended.message


def test_a_write_without_response_that_is_too_long_is_the_plans_fault(ran: Any) -> None:
    done = ran(f"  - write: command\n    raw: '{'55' * 25}'\n    response: false\n    attempts: 2\n")
    assert blamed(done) == ("plan", 4, "3")
    assert "25 bytes in a write without response; this link carries 20" in done.ended.message


def test_a_characteristic_that_notifies_and_has_no_cccd_is_the_devices_fault(ran: Any) -> None:
    done = ran("  - notify: humidity\n    for: 200 ms\n    attempts: 2\n")
    assert blamed(done) == ("device", 1, "3")
    assert done.record.steps[2].ended.attempts == 1


def test_an_attribute_that_wants_a_paired_link_is_refused_by_the_device(ran: Any) -> None:
    done = ran("  - read: pressure\n    attempts: 2\n")
    assert blamed(done) == ("device", 1, "3")
    assert "nothing was paired before" in done.ended.message
    assert "where the device is meant to ask for it" in done.record.steps[2].ended.advice


def test_a_plan_may_demand_that_an_attribute_is_protected(ran: Any) -> None:
    done = ran("  - read: pressure\n    expect: {att_error: {equals: insufficient encryption}}\n")
    assert done.ended.verdict == "pass"


CCCD = "temperature/client characteristic configuration"


def test_a_cccd_can_be_written_and_is_refused_by_the_device(ran: Any) -> None:
    done = ran(
        f"  - write: {CCCD}\n    raw: '04 00'\n    expect: {{att_error: {{equals: cccd improperly configured}}}}\n"
        f"  - write: {CCCD}\n    raw: '01 00'\n    read_back: true\n    expect: {{value.notify: {{equals: true}}}}\n"
    )
    assert done.ended.verdict == "pass", done.ended.message
    assert not any("subscription" in note.text for note in done.record.notes)


def test_values_that_nobody_subscribed_to_are_told(ran: Any) -> None:
    def fate(pdu: AirPdu) -> Fate:
        at_another = pdu.data[:5] + b"\x77\0" + pdu.data[7:]
        return at_another if pdu.att_opcode == NOTIFICATION else None

    done = ran("  - notify: temperature\n    for: 400 ms\n    expect: {count: {max: 0}}\n", fate)
    (told,) = [note.text for note in done.record.notes if "without a subscription" in note.text]
    assert "handle 0x0077" in told


def test_a_device_that_does_not_accept_a_connection(ran: Any) -> None:
    done = ran("  - read: temperature\n", unit=UNIT + "faults: {refuse_connections: 9}\n")
    assert done.ended.cause == "link"
    assert "connect to unit 1: the device did not accept the connection" in done.ended.message
