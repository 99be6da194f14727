"""What a unit sends without a subscription, as a reading of `disconnect`."""

from __future__ import annotations

import pytest

from tests.run.kit import device_text, plan_text, run

PLAN = (
    "  - wait: 1 s\n  - notify: temperature\n    for: 2 s\n  - wait: 3 s\n    name: after it\n"
    "  - disconnect:\n    expect: {unasked: {equals: 0}}\n"
)


def unit(notify: str = "", more: str = "", top: str = "") -> str:
    return device_text(
        f"""
services:
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: 21 °C
        notify: {{period: 200 ms{notify}}}
        {more}
      - {{characteristic: humidity, properties: [read, notify], value: 50 %, notify: {{period: 300 ms}}}}
""",
        more=top,
    )


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(
    ("device", "least"),
    [
        (unit(), 0),
        (unit(", early: true"), 3),
        (unit(", goes_on: true"), 8),
        (unit(more="on_notify: {sometimes: [{from: 3, times: 1, under: humidity}]}"), 1),
    ],
    ids=["sound", "before", "after", "under another handle"],
)
def test_what_is_sent_unasked_is_counted(device: str, least: int, air: str) -> None:
    ran = run(plan_text(PLAN), device, air=air, seed=3)
    assert (ran.ended.verdict, ran.ended.cause) == (("fail", "limit") if least else ("pass", None)), ran.ended.message
    unasked = ran.reading("disconnect", "unasked").value
    assert unasked >= least if least else unasked == 0


def test_without_a_limit_it_is_no_reading() -> None:
    ran = run(plan_text("  - wait: 1 s\n    expect: {elapsed: {min: 1 s}}\n  - disconnect:\n"), unit(", early: true"))
    assert ran.ended.verdict == "pass", ran.ended.message
    assert [each.name for each in ran.step("disconnect").readings] == ["elapsed"]


BONDED = """  - pair:
  - listen: {temperature: }
    steps:
      - wait: 1 s
      - power: cycle
  - connect:
    name: again
  - encrypt:
  - wait: 2 s
  - disconnect:
    expect: {unasked: {equals: 0}}
"""


@pytest.mark.parametrize(("steps", "expected"), [(BONDED, "pass"), (BONDED.replace("  - encrypt:\n", ""), "fail")])
def test_a_bond_keeps_a_subscription_for_encrypted_links(steps: str, expected: str) -> None:
    top = "security: {capability: none, faults: {notifies_unencrypted: true}}\n"
    ran = run(plan_text(steps), unit(more="subscribe_needs: encrypted", top=top))
    assert ran.ended.verdict == expected, ran.ended.message
    assert any("without a subscription" in note.text for note in ran.record.notes)
