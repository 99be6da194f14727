"""What whoever carries a tag wants to know: nobody can follow it, and nobody else gets an answer."""

from __future__ import annotations

from tests.requirements.kit import REACH, Requirement

OWNED = f"""{REACH}  - pair: none
    on_fail: stop
  - disconnect:
"""
FOLLOWED = """
  - privacy: 25 s
    name: followed
    expect:
      address_kinds: {equals: [resolvable private]}
      resolves: {equals: true}
      rotates_after: {min: 8 s, max: 12 s}
      addresses: {min: 3}
      constant: {equals: [name]}
      continues: {equals: []}
"""
ALONE = """
  - connect:
    name: a stranger
    as: stranger
    expect: {connected: {equals: false}}
  - connect:
    name: the owner
  - encrypt:
  - read: tone
    expect: {value: {equals: 3}}
"""


def of_tag(name: str, steps: str, before: str, after: str, fails: str, says: str) -> Requirement:
    return Requirement(name, "tag", steps, (before, after), fails=fails, says=says, reach=OWNED)


REQUIREMENTS = [
    of_tag("its address changes in time", FOLLOWED, "every: 10 s}", "every: 1 h}", "followed", "above the maximum 12 s"),
    of_tag("its address does not change too often", FOLLOWED, "every: 10 s}", "every: 5 s}", "followed", "below the minimum 8 s"),
    of_tag("its owner knows it again", FOLLOWED, "every: 10 s}", "every: 10 s, another_key: true}", "followed", "false"),
    of_tag("its address is resolvable", FOLLOWED, "every: 10 s}", "every: 10 s, address: non resolvable}", "followed",
           "non-resolvable"),
    of_tag("it never shows who it is", FOLLOWED, "every: 10 s}", "every: 10 s, identity_every: 2}", "followed", "static random"),
    of_tag("its counter does not give it away", FOLLOWED, ", anew: true", "", "followed", "manufacturer data 0xFFFF"),
    of_tag("nothing that it sends stays the same", FOLLOWED, "{company: 0xFFFF, ", "{company: 0xFFFF, data: '5A17', ", "followed",
           "bytes 0-1"),
    of_tag("it answers its owner alone", ALONE, "connections: bonded only", "connections: anyone", "a stranger", "true is not false"),
]  # fmt: skip
