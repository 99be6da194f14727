"""What `check` refuses of an `access` step: every contradiction at its place, with what to write."""

import pytest

from benchrig.plan.remarks import hints
from tests.plan.building import plan_of, problems_of

LEVELS = "    levels: {encrypted: {pair: none}, authenticated: never}\n"
HEAD = "plan: one\ndevice: {select: {name: x}}\nsteps:\n  - scan:\n"


def told(matrix, more=""):
    """What is said of a step with this matrix, each with the text that it points at."""
    text = f"{HEAD}  - access: {matrix}\n{more}"
    lines = text.splitlines()
    return [
        (problem.message, problem.advice, lines[problem.place.line - 1][problem.place.column - 1 :])
        for problem in problems_of(text)
    ]


def test_a_sound_one_is_taken():
    matrix = (
        "{temperature: {read: open, subscribe: encrypted}, 0x2A6F: {read: never, write: authenticated}, "
        "temperature/user description: {read: any}, others: {read: open}}"
    )
    more = f"{LEVELS}    writes: [humidity]\n    expect: {{differences: {{equals: 0}}}}\n"
    assert plan_of(f"{HEAD}  - access: {matrix}\n{more}").steps[1].limit_names == ["differences"]


@pytest.mark.parametrize(
    ("matrix", "more", "message", "advice", "at"),
    [
        ("{temprature: {read: open}}", "", "unknown attribute 'temprature'", "did you mean 'temperature'", "{read"),
        ("{temperature: {reed: open}}", "", "unknown operation 'reed'", "did you mean 'read'?", "reed"),
        ("{temperature: {read: oppen}}", "", "found the text 'oppen'", "did you mean 'open'?", "oppen"),
        ("{temperature: {read: true}}", "", "found true", "", "true"),
        ("{temperature: {read: 3}}", "", "found the number 3", "", "3"),
        ("{temperature: {read: any}, others: {write: any}}", "", "the matrix judges nothing", "{read: open}", "{temp"),
        ("{temperature: [read]}", "", "expected operations with what they need, found a list", "{read: open", "[read]"),
        ("{temperature: }", "", "found nothing", "{read: open", "}"),
        ("temperature", "", "expected attributes with what each operation needs", "others:", "temperature"),
        (
            "{temperature: {read: open}, 0x2A6E: {read: open}}", "", "'temperature' and '0x2A6E' are the same attribute",
            "make it one line", "{read: open}}",
        ),
        ("{2902: {read: open}}", "", "is written as a decimal number", "write 0x2902", "2902"),
        ("{'2902': {read: open}}", "", "is written by subscribing", "write subscribe: at", "{read"),
        (
            "{temperature/user description: {subscribe: open}}", "", "is a descriptor", "take out subscribe", "open",
        ),
        (
            "{temperature: {read: encrypted}}", "", "links that are encrypted, and levels has no way to them",
            "encrypted: never where the unit has none", "access",
        ),
        (
            "{temperature: {read: secure connections}}", LEVELS, "links that are protected by Secure Connections",
            "write secure connections: {pair: …}", "{encrypted",
        ),
        (
            "{temperature: {read: open}}", "    levels: {encrypted: {pair: keyboard}}\n",
            "as 'keyboard' with mitm the link is authenticated", "write pair: none", "keyboard",
        ),
        (
            "{temperature: {read: open}}", "    levels: {authenticated: {pair: none}}\n",
            "without mitm nobody is authenticated", "write pair: keyboard", "none",
        ),
        (
            "{temperature: {read: open}}",
            "    levels: {authenticated: {pair: keyboard, pairing: secure connections}}\n",
            "gives the level secure connections", "take out pairing", "secure connections}",
        ),
        (
            "{temperature: {read: open}}",
            "    levels: {secure connections: {pair: keyboard, pairing: legacy}}\n",
            "legacy pairing gives no key of Secure Connections", "take out pairing", "legacy",
        ),
        ("{temperature: {read: open, key_size: 6}}", "", "expected 7 to 16 bytes, found the number 6", "16", "6"),
        ("{temperature: {read: open, keysize: 16}}", "", "unknown operation 'keysize'", "key_size", "keysize"),
        (
            "{temperature: {read: encrypted, key_size: 16}}", "    levels: {encrypted: {pair: none}}\n",
            "levels has no link with a short one", "short key: never", "{encrypted",
        ),
        (
            "{temperature: {read: encrypted, key_size: 12}}",
            "    levels: {encrypted: {pair: none}, short key: {pair: none, key_size: 12}}\n",
            "a key of 12 bytes is long enough", "key_size: 7", "12",
        ),
        ("{temperature: {read: open}}", "    levels: {encryptd: never}\n", "unknown key 'encryptd'", "encrypted", "encryptd"),
        ("{temperature: {read: open}}", "    levels: {encrypted: no way}\n", "expected a mapping", "{pair: no way}", "no way"),
        (
            "{temperature: {read: open}}", "    writes: [temperature]\n", "the matrix judges no write of 'temperature'",
            "say what its write needs", "temperature",
        ),
        (
            "{temperature: {write: open}}", "    writes: [temperature, temperature]\n", "'temperature' is listed twice",
            "take one", "temperature]",
        ),
        (
            "{temperature: {write: open}}", "    changes: {temperature: 20 °C}\n", "'temperature' is not listed under writes",
            "add it there", "20 °C",
        ),
        (
            "{temperature: {write without response: open}}",
            "    writes: [temperature]\n    changes: {temperature: 20 s}\n", "s", "", "20 s",
        ),
        ("{temperature: {read: open}}", "    expect: {difference: {equals: 0}}\n", "no reading 'difference'", "differences", "difference"),
        ("{temperature: {read: open}}", "    attempts: 2\n", "never tried again", "take out attempts", "2"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_told_at_its_place(matrix, more, message, advice, at):
    found = told(matrix, more)
    assert len(found) == 1
    assert message in found[0][0]
    assert advice in found[0][1]
    assert found[0][2].startswith(at)


def test_every_problem_at_once():
    levels = "    levels: {encrypted: {pair: keyboard}, authenticated: {pair: none}}\n    writes: [pressure]\n"
    assert len(told("{temprature: {read: open}, humidty: {read: secure connections}}", levels)) == 6


def test_a_passkey_that_comes_in_the_run_hides_no_problem():
    text = HEAD.replace("steps:", "given: {code: {secret: true}}\nsteps:") + (
        "  - access: {temperature: {read: secure connections}}\n"
        "    levels: {encrypted: {pair: keyboard}, authenticated: {pair: keyboard, passkey: '${code}'}}\n"
    )
    assert [problem.message[:30] for problem in problems_of(text)] == [
        "the matrix is about links that",
        "as 'keyboard' with mitm the li",
    ]


def test_it_begins_without_a_bond_and_ends_without_a_link():
    pair = "  - pair: none\n"
    text = f"{HEAD}  - connect:\n{pair}  - access: {{temperature: {{read: open}}}}\n  - read: temperature\n"
    assert [problem.message for problem in problems_of(text)] == [
        "'access' begins without a bond, and 'pair none' has made one",
        "'read temperature' needs a connection, but the link was ended by 'access'",
    ]
    bonding = "    levels: {encrypted: {pair: none, bonding: true}}\n"
    behind = f"{HEAD}  - access: {{temperature: {{read: open}}}}\n{bonding}  - connect:\n  - encrypt:\n"
    assert len(plan_of(behind).steps) == 4
    assert [problem.message for problem in problems_of(behind.replace("true", "false"))] == [
        "'encrypt' needs a bond, but 'access' keeps none"
    ]


def test_writes_that_are_judged_and_not_tried_are_told():
    """A step that passes without them is right as it is, and proves less than its matrix says."""
    rows = "{temperature: {write: never}, humidity: {write: open}, pressure: {write: any}, others: {write: open}}"
    [(where, hint)] = hints(plan_of(f"{HEAD}  - access: {rows}\n    writes: [humidity]\n"))
    assert where.endswith(":5")
    assert hint.endswith("writes does not list them: temperature (write), others (write)")
    rows = "{humidity: {write: open}, others: {write: open}}"
    assert not [*hints(plan_of(f"{HEAD}  - access: {rows}\n    writes: [humidity, temperature]\n"))]
