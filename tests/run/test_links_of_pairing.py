"""What a pairing does to the link, for the steps in it and after it."""

from __future__ import annotations

from tests.run.test_pairing import Ran, ends, pairing
from tests.run.test_unsecured import LAST, came_to

CONSOLE = """  - pair: keyboard
    passkey: '${code}'
    within: 40 s
    steps:
      - console:
        within: 10 s
        until: {line: {matches: 'never (?P<code>[0-9]{6})'}}
        save: {code: code}
    expect: {bonded: {equals: true}}
"""


def elapsed(ran: Ran, name: str) -> float:
    ended = ran.step(name).ended
    assert ended is not None
    return ended.elapsed


def test_a_pairing_that_silence_ended_leaves_no_link() -> None:
    ran = pairing("  - pair:\n" + LAST, "{faults: {silent_at: pairing request}}")
    assert came_to(ran, "last") == ("skip", "step 3 left no link")
    assert ends(ran) == ("fail", "device"), ran.ended.message


def test_a_link_that_is_lost_in_the_pairing_ends_the_steps_in_it() -> None:
    ran = pairing(CONSOLE + LAST, "{capability: display, faults: {disconnects_at: public key}}", "console: []")
    assert elapsed(ran, "console") < 2.0
    assert "the link was lost" in came_to(ran, "pair keyboard")[1]
    assert ends(ran) == ("fail", "link"), ran.ended.message
    assert came_to(ran, "last")[0] == "skip"
    assert not ran.stray
    assert not ran.tasks_left


def test_who_may_have_been_late_at_the_unit_is_said() -> None:
    typed = "  - pair: display\n    passkey: '042517'\n    expect: {bonded: {equals: true}}\n"
    ran = pairing(typed, "{capability: keyboard, passkey: '042517', answer_after: 40 s}")
    ended = ran.step("pair display").ended
    assert ended is not None
    assert (ended.cause, "typed on the unit in time" in ended.advice) == ("device", True), ended
