"""Variants in runs: the row that the given value chooses decides what passes, and is on record."""

from __future__ import annotations

import pytest

from tests.run.kit import device_text, plan_text, run

ATTRIBUTES = "    top: {uuid: 0xFF01, as: uint16, scale: 0.01, unit: km/h}"
HEAD = """\
given: {market: {one_of: [de, us]}}
variants:
  market:
    de: {most: 25 km/h, supply: {min: 50 %}}
    us: {most: 45 km/h, supply: {min: 20 %, max: 90 %}}
"""
STEPS = """\
  - read: top
    expect: {value: {max: '${most}'}}
  - read: battery level
    name: battery
    expect: {value: '${supply}'}
"""


def device(top: str, battery: str) -> str:
    return device_text(
        "services:\n  - service: 0xFF00\n    characteristics:\n"
        f"      - {{characteristic: 0xFF01, as: uint16, scale: 0.01, unit: km/h, properties: [read], value: {top}}}\n"
        f"  - service: battery\n    characteristics: [{{characteristic: battery level, properties: [read], value: {battery}}}]\n"
    )


@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("market", "top", "battery", "verdicts"),
    [
        ("de", "25 km/h", "55 %", ["pass", "pass"]),
        ("us", "45 km/h", "21 %", ["pass", "pass"]),
        ("de", "45 km/h", "55 %", ["fail", "pass"]),
        ("de", "25 km/h", "40 %", ["pass", "fail"]),
        ("us", "45 km/h", "95 %", ["pass", "fail"]),
    ],
)
def test_the_row_decides(market: str, top: str, battery: str, verdicts: list[str], air: str | None) -> None:
    reach = "steps:\n  - scan:\n  - connect:\n    attempts: 3\n    within: 20 s\n"
    plan = plan_text(STEPS, head=HEAD, attributes=ATTRIBUTES, reach=reach)
    ran = run(plan, device(top, battery), given={"market": market}, air=air)
    assert ran.verdicts()[2:] == verdicts
    assert ran.ended.cause == (None if verdicts == ["pass", "pass"] else "limit")
    assert (ran.record.run.variants, ran.record.run.given) == ({"market": market}, {"market": market})
