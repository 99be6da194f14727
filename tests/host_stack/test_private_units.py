"""Private addresses, directed advertising and the accept list of a unit, on the stack of Linux."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.host_stack.guest import HERE
from tests.host_stack.test_heard import plan

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
UNITS = HERE / "private_units.yaml"
ROTATES = """plan: it rotates
device: {select: {name: TAG-1}}
steps:
  - scan:
    for: 1 s
  - privacy: 65 s
    expect:
      address_kinds: {equals: [resolvable private]}
      rotates_after: {min: 10 s, max: 32 s}
      addresses: {min: 3}
      constant: {equals: [name]}
"""
BONDED = """plan: it rotates for a host that is bonded
device: {select: {name: TAG-1}}
may_lack: [privacy.address_kinds, privacy.resolves]
steps:
  - scan:
    for: 1 s
  - connect:
  - pair: none
  - disconnect:
  - privacy: 30 s
    name: hidden
    expect: {address_kinds: {equals: [resolvable private]}, resolves: {equals: true}}
  - connect:
"""
DIRECTED = """plan: it answers its host alone
device: {select: {name: LOCK-1}}
steps:
  - connect:
  - pair: none
  - disconnect:
  - connect:
    within: 15 s
  - disconnect:
"""


def test_what_linux_shows_of_private_addresses(shell: Shell, tmp_path: Path) -> None:
    """Those of a unit without a bond as they are; of a bonded one its identity address, which is not judged."""
    for name, text in {"rotates": ROTATES, "bonded": BONDED}.items():
        (tmp_path / f"{name}.yaml").write_text(text)
    rotates, bonded = shell(plan("rotates"), plan("bonded"), devices=[UNITS], within=280)
    assert rotates.code == 0, rotates.out + rotates.err
    assert bonded.code == 5, bonded.out + bonded.err
    assert "6 of 6 steps passed; 0 limits judged, 0 broken, 2 not judged" in bonded.out


def test_a_unit_that_directs_to_linux_is_found_by_the_accept_list(shell: Shell, tmp_path: Path) -> None:
    """The kernel scans passively for what is on its accept list (filter policy 1), and connects to what it hears."""
    (tmp_path / "directed.yaml").write_text(DIRECTED)
    listen = "stdbuf -oL btmon > btmon.txt 2>&1 & sleep 1"
    found, _ = shell(f"{listen}\n{plan('directed')}; code=$?; kill $!; exit $code", "true", devices=[UNITS], within=250)
    assert "5 of 5 steps passed" in found.out, found.out + found.err
    said = (tmp_path / "btmon.txt").read_text(errors="replace")
    assert "Filter policy: Ignore not in accept list (0x01)" in said, said[-3000:]
    assert "Event type: Connectable directed - ADV_DIRECT_IND (0x01)" in said
