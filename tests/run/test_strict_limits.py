"""Limits that are strict, that differ, that rise and that hold a CRC: a sound device passes, its faulty twin fails in the
step that is about it."""

from __future__ import annotations

import pytest

from benchrig.values.crc import algorithms
from tests.run.kit import device_text, plan_text, run

UUID = "7b1f30{:02x}-4d1e-4b6f-9a57-2f3c1de0a001"
SPECS = {
    "level": "as: uint8, scale: 0.1, unit: V",
    "nonce": "as: hex",
    "log": "as: utf8",
    "count": "as: uint8",
}
ATTRIBUTES = "".join(
    f"    {name}: {{uuid: {UUID.format(n)}, {spec}}}\n" for n, (name, spec) in enumerate(SPECS.items())
)
BLOCK = b"123456789" + algorithms()["CRC-16/KERMIT"].check.to_bytes(2, "little")
SOUND = {"level": "raw: '04'", "nonce": f"raw: '{BLOCK.hex()}'", "log": "value: all is well",
         "count": "value: {counter: {start: 5, step: 2}}, notify: {period: 50 ms}"}  # fmt: skip
PLAN = plan_text(
    """\
  - read: level
    expect: {value: {above: 0.3 V, below: 0.5 V}}
  - read: nonce
    expect: {value: {crc: CRC-16/KERMIT, differs: '00'}}
  - read: log
    expect: {value: {lacks: ASSERT}}
  - read: count
    name: first count
    save: {value: before}
  - notify: count
    count: 4
    expect: {value: {rising: true}}
  - read: count
    expect: {value: {above: '${before}'}}
""",
    attributes=ATTRIBUTES,
)


def device(**other: str) -> str:
    values = SOUND | other
    listed = "".join(
        f"      - {{characteristic: {UUID.format(n)}, {SPECS[name]}, properties: [read, notify], {values[name]}}}\n"
        for n, name in enumerate(SPECS)
    )
    return device_text(f"services:\n  - service: {UUID.format(0x99)}\n    characteristics:\n{listed}")


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_sound_device_passes(air: str) -> None:
    ran = run(PLAN, device(), air=air)
    assert (ran.ended.verdict, ran.verdicts()) == ("pass", ["pass"] * 8)


FAULTY = [
    ("read level", "level", "raw: '03'", "0.3 V is not above 0.3 V"),
    ("read nonce", "nonce", f"raw: '{BLOCK[:-1].hex()}22'", "ends with 89 22, its CRC-16/KERMIT is 89 21"),
    ("read nonce", "nonce", "raw: '00'", "00 does not differ from 00"),
    ("read log", "log", "value: an ASSERT in main", "'an ASSERT in main' contains 'ASSERT'"),
    ("notify count", "count", "value: {sequence: [1, 2, 2, 3, 9]}, notify: {period: 50 ms}", "2 is not above the sample before it, 2"),
]  # fmt: skip


@pytest.mark.parametrize(("step", "name", "value", "said"), FAULTY)
def test_a_faulty_one_fails_in_the_step_about_it(step: str, name: str, value: str, said: str) -> None:
    ran = run(PLAN, device(**{name: value}))
    ended = ran.step(step).ended
    assert ended is not None
    assert (ran.ended.verdict, ended.verdict, ended.cause) == ("fail", "fail", "limit")
    assert said in ended.message
    failed = [one.planned.name for one in ran.record.steps if one.ended and one.ended.verdict == "fail"]
    assert failed[0] == step
