"""What `check` says of pairings: keys and limits that contradict each other, and steps that need a bond."""

from __future__ import annotations

import pytest

from benchrig.errors import PlanError
from tests.plan.building import plan_of
from tests.run.kit import plan_text

PAIR = "  - pair: keyboard\n    passkey: '042517'\n"
CONSOLE = "console: , until: {line: {matches: '(?P<code>[0-9]{6})'}}, save: {code: code}"
TOLD = f"  - pair: keyboard\n    passkey: '${{code}}'\n    steps: [{{{CONSOLE}}}]\n"
NEEDS = "needs a bond, but "


def problems(steps: str, head: str = "") -> list[str]:
    try:
        plan_of(plan_text(steps, head=head, attributes="    reset: {handle: 3, as: uint8}"))
    except PlanError as error:
        return [f"{each.message} | {each.advice}" for each in error.problems]
    return []


@pytest.mark.parametrize(
    "steps",
    [
        PAIR + "  - disconnect:\n  - connect:\n  - encrypt:\n",
        PAIR + "  - repeat: 2\n    steps: [{disconnect: }, {connect: }, {encrypt: }]\n  - disconnect:\n",
        PAIR
        + "  - disconnect:\n  - connect:\n  - power: cycle\n  - connect:\n    name: again\n  - encrypt:\n  - unpair:\n",
        PAIR + "  - repeat: 3\n    steps: [{disconnect: }, {connect: }, {encrypt: }]\n",
        "  - repeat: 3\n    steps: [{pair: }, {unpair: }, {connect: }]\n",
        PAIR + "  - unpair:\n    steps: [{write: reset, value: 1}]\n    passkey: '111111'\n",
        TOLD
        + f"  - unpair:\n    steps: [{{write: reset, value: 1}}]\n    passkey: '${{new}}'\n    numbers: [{{{CONSOLE.replace('code: code', 'code: new')}}}]\n",
        TOLD + "  - unpair:\n",
        PAIR + "  - unpair:\n    bonding: true\n    steps: [{power: cycle}]\n    clear: [{write: reset, value: 1}]\n",
        "  - pair:\n    expect: {failure: {one_of: [none, timeout]}}\n  - disconnect:\n  - connect:\n  - encrypt:\n",
        "  - pair: display\n    steps: [{console: , send: '${shown}'}]\n",
        PAIR + "  - disconnect:\nfinally:\n  - unpair:\n",
    ],
)
def test_a_bond_that_is_there(steps: str) -> None:
    assert problems(steps) == []


@pytest.mark.parametrize(
    ("steps", "problem"),
    [
        ("  - encrypt:\n", f"'encrypt' {NEEDS}no pair step comes before it"),
        ("  - unpair:\n", f"'unpair' {NEEDS}no pair step comes before it"),
        ("  - pair:\n    bonding: false\n  - encrypt:\n", f"'encrypt' {NEEDS}'pair none' keeps none"),
        ("  - pair:\n    expect: {failure: {equals: timeout}}\n  - encrypt:\n", f"'encrypt' {NEEDS}'pair none' keeps none"),
        (PAIR + "  - pair:\n    bonding: false\n  - encrypt:\n", f"'encrypt' {NEEDS}'pair none' keeps none"),
        (PAIR + "  - unpair:\n  - connect:\n  - encrypt:\n", f"'encrypt' {NEEDS}'unpair' has ended it"),
        (PAIR + "  - repeat: 2\n    steps: [{unpair: }, {connect: }]\n", f"'unpair' {NEEDS}'unpair' has ended it"),
        (PAIR + "  - unpair:\n  - read: reset\n", "'read reset' needs a connection, but the link was ended by 'unpair'"),
        (PAIR + "  - disconnect:\n  - connect:\n  - encrypt:\n    expect: {failure: {equals: no key}}\n  - read: reset\n", "'read reset' needs a connection, but the link was ended by 'encrypt'"),
        (TOLD + "  - unpair:\n    steps: [{write: reset, value: 1}]\n", "'unpair' pairs anew, and steps told the number of the pairing before ('pair keyboard') | add passkey: as there, and numbers: with these steps"),
        (TOLD + "  - unpair:\n    steps: [{write: reset, value: 1}]\n    numbers: [{wait: 1 s}]\n", "'unpair' pairs anew, and steps told the number of the pairing before"),
        (PAIR + "  - unpair:\n    passkey: '111111'\n", "nothing is proven here, so passkey is not used"),
        (PAIR + "  - unpair:\n    steps: [{wait: 1 s}]\n    bonding: true\n", "with bonding the unit keeps the bond of the proof"),
        (PAIR + "  - unpair:\n    steps: [{wait: 1 s}]\n    clear: [{wait: 2 s}]\n", "without bonding the proof leaves nothing to clear"),
        ("  - pair: keyboard\n    steps: [{disconnect: }]\n", "'pair keyboard' needs the link for as long as 'disconnect' runs"),
        ("  - pair: keyboard\n    steps: [{console: , send: '${shown}'}]\n", "nothing before this step gives 'shown' a value"),
        ("  - pair: keyboard\n    passkey: '${code}'\n    steps: [{wait: 1 s}]\n", "nothing before this step gives 'code' a value"),
        ("  - pair: none\n    passkey: '${code}'\n    steps: [{" + CONSOLE + "}]\n", "as 'none' no passkey is asked for"),
        ("  - pair: keyboard\n    mitm: '${code}'\n    passkey: '${code}'\n    steps: [{" + CONSOLE + "}]\n", "nothing before this step gives 'code' a value"),
        ("  - pair:\n    expect: {method: {equals: passkey}}\n", "with these keys method is just works, so the limit is never satisfied"),
        ("  - pair:\n    expect: {method: {equals: pass key}}\n", "the method is never 'pass key' | did you mean 'passkey'?"),
        ("  - pair:\n    expect: {failure: {equals: confirm failed}}\n", "the failure is never 'confirm failed'"),
        ("  - pair:\n    expect: {authenticated: {equals: true}}\n", "with these keys authenticated is false"),
        ("  - pair:\n    bonding: false\n    expect: {bonded: {equals: true}}\n", "with these keys bonded is false"),
        ("  - pair:\n    key_size: 7\n    expect: {key_size: {min: 16}}\n", "with these keys key_size is 7"),
        ("  - pair:\n    pairing: legacy\n    expect: {secure_connections: {equals: true}}\n", "with these keys secure_connections is false"),
        ("  - pair:\n    expect: {failure: {equals: timeout}, bonded: {equals: false}}\n", "a pairing that fails has no bonded"),
        ("  - pair: keyboard\n    passkey: '12345'\n", "expected six digits in quotes, found 5 digits"),
        ("  - pair: keyboard\n    passkey: '1234567'\n", "expected six digits in quotes, found 7 digits"),
        ("  - pair: keyboard\n    attempts: 2\n", "a pair step is never tried again"),
        (PAIR + "  - encrypt:\n", "'encrypt' shows nothing: 'pair keyboard' has encrypted this link already"),
        (PAIR + "  - disconnect:\n  - connect:\n  - repeat: 2\n    steps: [{encrypt: }]\n", "'encrypt' shows nothing: 'encrypt' has encrypted this link already"),
        (PAIR + "  - disconnect:\n  - connect:\n  - encrypt:\n    expect: {failure: {equals: lost}}\n", "the failure is never 'lost'"),
        (PAIR + "  - unpair:\n    expect: {old_key: {equals: refused}}\n", "the old_key is never 'refused'"),
    ],
)  # fmt: skip
def test_what_check_refuses(steps: str, problem: str) -> None:
    found = problems(steps)
    assert len(found) == 1, found
    assert found[0].startswith(problem)


def test_digits_that_are_given_are_looked_at_before_the_run() -> None:
    steps = "  - pair: keyboard\n    passkey: '${code}'\n"
    for given, problem in [
        ("{default: '12345'}", "expected six digits in quotes, found 5 digits"),
        ("{default: '123456'}", ""),
    ]:
        found = problems(steps, head=f"given: {{code: {given}}}\n")
        assert [text for text in found if problem and text.startswith(problem)] == found
        assert bool(found) == bool(problem)
