"""A unit that answers bonded benches only: it takes the station and refuses a stranger, and its faulty twin is found."""

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from tests.run.kit import HEAD, run

AIRS = pytest.mark.parametrize("air", [None, "rough"])
SOUND = """
device: unit 1
address: 'C4:00:00:00:00:01'
security: {}
advertising: {interval: 50 ms, connections: bonded only}
"""
DIRECTED = SOUND.replace("connections", "directed: {}, connections")
BEGIN = HEAD + "steps:\n  - scan:\n    for: 300 ms\n"
PLAN = (
    BEGIN
    + """  - connect:
    as: stranger
    name: while it has no bond
    expect: {connected: {equals: true}}
  - disconnect:
  - connect:
    expect: {connected: {equals: true}}
  - pair: none
  - disconnect:
  - connect:
    as: stranger
    name: refused
    expect: {connected: {equals: false}}
  - connect:
    name: taken
  - encrypt:
"""
)


@AIRS
def test_a_sound_unit_refuses_a_stranger_and_takes_the_bench_it_is_bonded_with(air):
    ran = run(PLAN, SOUND, air=air)
    assert ran.ended.verdict == "pass", ran.ended.message
    assert ran.reading("refused", "connected").value is False


@AIRS
def test_a_unit_that_takes_everybody_fails_there(air):
    ran = run(PLAN, SOUND.replace("bonded only", "anyone"), air=air)
    assert ran.step("refused").ended.verdict == "fail"
    assert ran.step("refused").ended.cause == "limit"
    assert ran.step("taken").ended.verdict == "pass", "the stranger's link does not stay"


def test_a_unit_that_is_not_there_proves_nothing():
    """No request went out: that is no refusal."""
    text = SOUND + "faults: {stop_advertising_after: 200 ms}\n"
    ran = run(BEGIN + "  - connect:\n    within: 3 s\n    expect: {connected: {equals: false}}\n", text)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")
    assert "connected" not in [each.name for each in ran.record.steps[-1].readings]


@pytest.mark.parametrize(("count", "verdict"), [(4, "fail"), (5, "pass")])
def test_a_few_requests_without_an_answer_are_no_refusal(count, verdict):
    text = SOUND + f"faults: {{refuse_connections: {count}}}\n"
    ran = run(BEGIN + "  - connect:\n    expect: {connected: {equals: false}}\n", text)
    assert ran.ended.verdict == verdict


def test_without_a_limit_on_it_an_unanswered_request_fails_the_step():
    ran = run(BEGIN + "  - connect:\n", SOUND + "faults: {refuse_connections: 9}\n")
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")
    assert "did not accept the connection" in ran.ended.message


@AIRS
@pytest.mark.parametrize(
    ("directed", "found"),
    [("{duty: low}", "always"), ("{duty: high, then: undirected}", "sometimes"), ("", "never")],
)
def test_a_scan_says_whether_it_was_directed_to_the_bench(air, directed, found):
    text = SOUND.replace("connections: bonded only", f"directed: {directed}" if directed else "connectable: true")
    plan = BEGIN + "  - connect:\n  - pair: none\n  - disconnect:\n  - scan:\n    name: judged\n    for: 3 s\n"
    ran = run(plan + f"    expect: {{directed: {{equals: {found}}}}}\n  - connect:\n", text, air=air)
    assert ran.ended.verdict == "pass", ran.ended.message


@AIRS
def test_a_unit_that_directs_to_the_bench_is_connected_to(air):
    """Nothing that it sends has a name any more: its address tells it."""
    ran = run(PLAN.replace("  - encrypt:\n", "  - encrypt:\n"), DIRECTED, air=air)
    assert ran.step("taken").ended.verdict == "pass", ran.ended.message


@pytest.mark.parametrize(
    ("step", "problem"),
    [
        ("as: stanger", "stranger"),
        ("attempts: 2\n    expect: {connected: {equals: true}}", "connected and attempts"),
        ("expect: {connected: {equals: false}, elapsed: {max: 1 s}}", "a connection that is refused has no elapsed"),
        ("expect: {connected: {equals: false}}\n  - disconnect:", "connect"),
        ("expect: {connected: {equals: 3}}", "connected"),
    ],
)
def test_what_check_says(tmp_path, step, problem):
    path = tmp_path / "plan.yaml"
    path.write_text(BEGIN + f"  - connect:\n    {step}\n")
    with pytest.raises(PlanError) as caught:
        load_plan(path, {})
    assert problem in str(caught.value)


@AIRS
@pytest.mark.parametrize("keys", ["connections: bonded only", "directed: {duty: low}"])
def test_a_unit_that_has_forgotten_its_bonds_is_there_for_all(air, keys):
    text = (
        SOUND.replace("connections: bonded only", keys) + "console: [{matches: forget, then: [{delete_bonds: true}]}]\n"
    )
    steps = "  - connect:\n  - pair: none\n  - disconnect:\n  - console:\n    send: forget\n"
    plan = f"{BEGIN}{steps}  - wait: 1 s\n  - connect:\n    as: stranger\n    expect: {{connected: {{equals: true}}}}\n"
    ran = run(plan, text, air=air)
    assert ran.ended.verdict == "pass", ran.ended.message
