"""What follows a pairing that has failed: it is left out for that one, and nothing else is to blame."""

from __future__ import annotations

import pytest

from tests.run.test_pairing import AGAIN, BOND, SHOWS, Ran, ends, pairing

READ = "  - read: inside\n    name: protected\n    expect: {value: {equals: 7}}\n"
LAST = "  - read: device name\n    name: last\n    expect: {value: {differs: x}}\n"
OTHER = BOND.replace("042517", "000001")
PRIVATE = "privacy: {address: resolvable, every: 20 s}\n"
WAIT = "  - wait: 22 s\n"


def came_to(ran: Ran, name: str) -> tuple[str, str]:
    one = next(one for one in ran.record.executions if one.planned.name == name)
    assert one.ended is not None
    return one.ended.verdict, one.ended.message


@pytest.mark.parametrize(
    ("steps", "security", "cause", "blames"),
    [
        (OTHER, SHOWS, "device", "step 3 pair keyboard failed"),
        (BOND, "{faults: {refuses: repeated attempts}}", "device", "step 3 pair keyboard failed"),
        (BOND + AGAIN + "  - encrypt:\n", SHOWS.replace("}", ", faults: {forgets_bonds: disconnection}}"), "device", "step 6 encrypt failed"),
    ],
)  # fmt: skip
def test_what_wants_a_paired_link_is_left_out(steps: str, security: str, cause: str, blames: str) -> None:
    ran = pairing(steps + READ + LAST, security)
    verdict, said = came_to(ran, "protected")
    assert verdict == "skip"
    assert blames in said
    assert ends(ran) == ("fail", cause), ran.ended.message
    assert came_to(ran, "last")[0] == "pass", "the run goes on"


def test_a_failure_that_a_limit_allows_is_one_for_what_wants_it() -> None:
    tolerated = "  - repeat: 1\n    steps:\n" + "".join(
        f"      {line}\n" for line in OTHER.splitlines()
    ) + "    expect: {failed: {max: 1}}\n"  # fmt: skip
    ran = pairing(tolerated + READ, SHOWS)
    assert came_to(ran, "protected")[0] == "skip"
    assert ran.ended.verdict == "fail"
    assert "the pairing failed" in ran.ended.message


def test_where_nothing_was_to_pair_the_device_refuses() -> None:
    ran = pairing(READ, SHOWS)
    assert ends(ran) == ("fail", "device")
    assert "nothing was paired before" in ran.ended.message


def test_a_private_unit_that_has_not_paired_cannot_be_told_again() -> None:
    ran = pairing(
        OTHER + "  - disconnect:\n" + WAIT + "  - connect:\n    name: back\n    attempts: 2\n" + LAST, SHOWS, PRIVATE
    )
    verdict, said = came_to(ran, "back")
    assert verdict == "skip", said
    assert "nothing proves that it is the same device, since step 3 pair keyboard failed" in said
    assert ends(ran) == ("fail", "device"), ran.ended.message
    back = next(one for one in ran.record.executions if one.planned.name == "back")
    assert back.ended is not None
    assert "key:" in back.ended.advice


@pytest.mark.parametrize(("fault", "expected"), [("", ("pass", None)), (", another_key: true", ("fail", "device"))])
def test_an_address_that_does_not_fit_the_key_of_the_bond_is_the_units(
    fault: str, expected: tuple[str, str | None]
) -> None:
    ran = pairing(BOND + "  - disconnect:\n" + WAIT + "  - connect:\n", SHOWS, PRIVATE.replace("}", f"{fault}}}"))
    assert ends(ran) == expected, ran.ended.message
    assert "fits the identity key" in ran.ended.message or expected[0] == "pass"
