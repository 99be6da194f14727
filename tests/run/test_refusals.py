"""A refusal that is the point: the request is sent although the table does not offer it, and the unit must refuse it."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.radio.offers import NOT_SENT
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from tests.run.kit import Ran, device_text, plan_text, run

A, B, C, D = (f"6b1d000{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in range(2, 6))
NAMES = f"    key: {{uuid: {A}, as: hex}}\n    serial: {{uuid: {B}, as: uint8}}\n    log: {{uuid: {C}, as: uint8}}\n    control: {{uuid: {D}, as: uint8}}"
UNIT = device_text(f"""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: {A}, as: hex, properties: [write]HIDES_READ, raw: '{"5A" * 300}'}}
      - {{characteristic: {B}, as: uint8, properties: [read]HIDES_WRITE, value: 7, descriptors: [{{descriptor: user description, value: fixedWRITABLE}}]}}
      - {{characteristic: {C}, as: uint8, properties: [notify], value: 1}}
      - {{characteristic: {D}, as: uint8, properties: [write without response, notify]HIDES_WRITE, value: 1, name: control, on_write: {{notify: {{control: 5}}}}}}
""")
SOUND = UNIT.replace("HIDES_READ", "").replace("HIDES_WRITE", "").replace("WRITABLE", "")
ACCEPTS = (
    UNIT.replace("HIDES_READ", ", hidden: [read]")
    .replace("HIDES_WRITE", ", hidden: [write]")
    .replace("WRITABLE", ", writable: true")
)
LONG = "5A" * 300


def went(step: str, device: str, **more: Any) -> Ran:
    return run(plan_text(f"  - {step}\n", attributes=NAMES), device, **more)


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(
    ("step", "limit"),
    [
        ("read: key", "equals: read not permitted"),
        ("read: control", "one_of: [read not permitted, insufficient authorization]"),
        ("read: log", "differs: none"),
        ("write: serial\n    value: 1", "equals: write not permitted"),
        ("write: log\n    value: 1", "matches: '.*not permitted'"),
        ("exchange: control\n    value: 1", "equals: write not permitted"),
        ("write: serial/user description\n    raw: '31'", "equals: write not permitted"),
        (f"write: serial/user description\n    raw: '{LONG}'", "equals: write not permitted"),
    ],
)  # fmt: skip
def test_a_unit_that_refuses_passes_and_its_twin_that_does_not_fails(step: str, limit: str, air: str) -> None:
    step = f"{step}\n    expect: {{att_error: {{{limit}}}}}"
    assert went(step, SOUND, air=air).ended.exit_code == 0
    if "log" in step or step.startswith("read: control"):
        return
    ran = went(step, ACCEPTS, air=air)
    assert (ran.ended.cause, ran.ended.exit_code) == ("limit", 1), ran.ended
    assert "'none'" in ran.ended.message


def test_a_limit_that_only_a_good_answer_satisfies_sends_nothing() -> None:
    for device in (SOUND, ACCEPTS):
        ran = went("write: serial\n    value: 1\n    expect: {att_error: {equals: none}}", device)
        assert (ran.ended.cause, ran.step("3").notes) == ("device", [])


def test_a_limit_that_anything_satisfies_sends_it_too() -> None:
    step = "read: key\n    expect: {att_error: {one_of: [none, read not permitted]}}"
    assert [went(step, device).reading("3", "att_error").value for device in (SOUND, ACCEPTS)] == [
        "read not permitted",
        "none",
    ]


@pytest.mark.parametrize("step", ["read: key", "write: serial\n    value: 1", "exchange: control\n    value: 1"])
def test_where_the_system_may_refuse_it_itself_nothing_is_judged(step: str) -> None:
    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == "2":
            runner._devices[""].unit.radio.sends_unoffered = False

    ran = went(f"{step}\n    expect: {{att_error: {{differs: none}}}}", ACCEPTS, during=during)
    assert (ran.ended.exit_code, ran.step("3").not_judged[0].reason, ran.step("3").notes) == (5, NOT_SENT, [])


def test_a_write_that_was_not_refused_says_what_the_device_took() -> None:
    """The bytes of a secret value are told here no more than elsewhere."""
    expect = "\n    expect: {att_error: {equals: out of range}}"
    ran = went("write: serial\n    value: 1" + expect, ACCEPTS)
    assert ran.step("3").ended.message == "the device accepted 01: the ATT error 'none' is not 'out of range'"
    head = "given: {code: {secret: true}}\n"
    for value in ("0A0B", "0A" * 60):
        plan = plan_text(f"  - write: key\n    value: '${{code}}'{expect}\n", attributes=NAMES, head=head)
        ran = run(plan, ACCEPTS, given={"code": value})
        assert "the device accepted ***" in ran.step("3").ended.message
