"""Private addresses and strangers: the virtual radio and a controller behind TCP say the same of one unit. On an operating
system: tests/host_stack/test_private_units.py."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest

from tests.contract.radios import air_on_tcp, in_rough_air, run_on

TAG = Path(__file__).with_name("tag.yaml")
PLAN = """plan: a tag
device: {select: {name: TAG-1}}
steps:
  - scan:
    for: 500 ms
  - connect:
    attempts: 3
  - pair: none
  - disconnect:
  - connect:
    as: stranger
    expect: {connected: {equals: false}}
  - privacy: 9 s
    name: followed
    expect:
      address_kinds: {equals: [resolvable private]}
      resolves: {equals: true}
      rotates_after: {min: 2 s, max: 4 s}
      constant: {equals: [name]}
      continues: {equals: []}
  - scan:
    for: 1 s
    expect: {directed: {equals: never}}
  - connect:
    attempts: 3
  - encrypt:
"""


@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize("radio", ["virtual", pytest.param("hci", marks=pytest.mark.slow)])
def test_a_private_unit(radio: str, air: str, tmp_path: Path) -> None:
    devices = in_rough_air(TAG, tmp_path) if air == "rough" else TAG
    around = air_on_tcp(devices) if radio == "hci" else contextlib.nullcontext(f"virtual:{devices}")
    with around as name:
        ran = run_on(name, PLAN, tmp_path)
    assert {*ran.ends()} == {"pass"}, ran.story()
