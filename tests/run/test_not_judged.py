"""Every planned limit ends as passed, failed or not judged; a run is green only when all were judged."""

import pytest

from benchrig.errors import PlanError
from benchrig.record.events import NotJudged
from benchrig.run.unattended import Unattended
from tests.run.kit import HEAD, device_text, plan_text, run

LEVEL = "services: [{service: battery service, characteristics: [{characteristic: battery level, properties: [read], value: 50 %}]}]"
UNIT = device_text(LEVEL)
SHORT_LIVED = device_text(LEVEL, more="faults: {disconnect_after: 1 s}")
READ = "  - read: battery level\n    expect: {value: {min: 1 %}}\n"
INTERVAL = "steps:\n  - scan:\n    for: 300 ms\n    expect: {rssi: {min: -90 dBm}, interval: {max: 150 ms}}\n"
LACKS = {"scan.interval": "this radio counts nothing"}


def fates(ran):
    return {(e.where.node, e.name): e.reason for e in ran.events if isinstance(e, NotJudged)}


def end(ran):
    return ran.ended.verdict, ran.ended.cause, ran.ended.exit_code


def test_a_limit_that_the_radio_lacks_keeps_the_run_from_passing():
    ran = run(HEAD + INTERVAL, UNIT, lacks=LACKS)
    assert end(ran) == ("error", "station", 5)
    assert fates(ran) == {("1", "interval"): LACKS["scan.interval"]}
    assert (ran.ended.planned, ran.ended.judged, ran.ended.not_judged, ran.ended.allowed) == (2, 1, 1, 0)


@pytest.mark.parametrize("head", ["may_lack: [scan.interval]\n", ""])
def test_it_can_be_allowed_for_by_name(head):
    ran = run(HEAD + head + INTERVAL, UNIT, lacks=LACKS, may_lack=[] if head else ["scan.interval"])
    assert end(ran) == ("pass", None, 0)
    assert ran.ended.allowed == 1


@pytest.mark.parametrize("expect", ["", "    expect: {value: {min: 1 %}}\n"])
def test_a_step_that_the_radio_cannot_do_is_no_pass_with_or_without_a_limit(expect):
    ran = run(plan_text(f"  - read: battery level\n{expect}"), UNIT, cannot={"read": "it has no ear"})
    assert end(ran) == ("error", "station", 7)
    assert ran.ended.message.startswith("this radio cannot do read steps: it has no ear: 'read battery level' (")
    assert set(ran.verdicts()) == {"skip"}


def test_a_failure_outweighs_what_was_not_judged():
    ran = run(HEAD + INTERVAL.replace("-90", "-1"), UNIT, lacks=LACKS)
    assert end(ran) == ("fail", "limit", 1)


def test_what_is_allowed_for_is_judged_where_it_can_be():
    ran = run(HEAD + "may_lack: [scan.interval]\n" + INTERVAL.replace("150 ms", "1 ms"), UNIT)
    assert end(ran) == ("fail", "limit", 1)


@pytest.mark.parametrize("name", ["scan.count", "interval", "read.value"])
def test_only_a_limit_of_the_plan_can_be_allowed_for(name):
    with pytest.raises(PlanError, match=f"the plan has no limit '{name}'"):
        run(HEAD + f"may_lack: [{name}]\n" + INTERVAL, UNIT)


def test_a_plan_without_a_limit_proves_nothing():
    ran = run(plan_text("  - wait: 1 s\n"), UNIT)
    assert end(ran) == ("error", "plan", 5)


def test_a_save_that_did_not_come_fails_its_step():
    steps = "steps:\n  - scan:\n    save: {tx_power: sent}\n  - connect:\n" + READ
    ran = run(HEAD + steps + "  - scan:\n    name: again\n    expect: {tx_power: {max: '${sent}'}}\n", UNIT)
    assert end(ran) == ("fail", "limit", 1)
    assert ran.step(1).ended.message == "the step gave no tx_power, which the plan saves as 'sent'"
    assert ran.verdicts() == ["fail", "pass", "pass", "skip"]


@pytest.mark.parametrize(
    "step",
    [
        pytest.param("command: [sleep, '1.3']", marks=pytest.mark.slow),
        "wait: 3 s",
        "scan:\n    name: again\n    for: 2 s",
    ],
)
def test_a_link_that_goes_meanwhile_is_lost(step):
    ran = run(plan_text(READ + f"  - {step}\n  - disconnect:\n    expect: {{elapsed: {{max: 1 s}}}}\n"), SHORT_LIVED)
    assert end(ran) == ("fail", "link", 1)
    assert ran.verdicts() == ["pass", "pass", "pass", "fail", "skip"]
    assert fates(ran) == {("5", "elapsed"): "step 4 left no link"}


@pytest.mark.slow
def test_a_link_that_went_before_the_disconnection_was_not_ended_by_it():
    ran = run(plan_text("  - command: [sleep, '1.3']\n") + "finally:\n  - disconnect:\n", SHORT_LIVED)
    assert end(ran) == ("fail", "link", 1)


def test_the_first_failure_gives_the_cause_whatever_the_clean_up_comes_to():
    plan = plan_text(READ) + "finally:\n  - command: [no-such-program]\n"
    ran = run(plan, device_text(LEVEL, name="other"))
    assert end(ran) == ("fail", "link", 1)
    assert ran.step(4).ended.cause == "station"


@pytest.mark.slow
def test_neither_the_operator_nor_the_radio_counts_against_the_deadline():
    class Slow(Unattended):
        async def acknowledge(self, caution):
            import asyncio

            await asyncio.sleep(2.2)  # real time: a person takes it
            return "at last"

    head = "caution: it moves\ndeadline: 2 s\n"
    service = "services: [{service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40, characteristics: [{characteristic: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read, write], value: 0}]}]"
    steps = "  - write: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40\n    raw: '07'\n    expect: {elapsed: {max: 1 s}}\n"
    ran = run(plan_text(steps, head=head), device_text(service), operator=Slow(), acknowledged=False)
    assert end(ran) == ("pass", None, 0)


CLEAN_UP = """
  - read: battery level
    save: {value: before}
  - read: battery level
    name: again
    expect: {value: {min: 1 %}}
finally:
  - read: battery level
    name: put back
    expect: {value: {nominal: '${before}', tolerance: 1 %}}
"""


def test_a_part_of_a_plan_takes_what_its_clean_up_needs():
    ran = run(plan_text(CLEAN_UP), UNIT, only=["again"])
    assert [step.planned.name for step in ran.record.steps] == [
        "scan",
        "connect",
        "read battery level",
        "again",
        "put back",
    ]
    assert ran.ended.exit_code == 0


def test_a_clean_up_step_alone_takes_its_connection():
    assert run(plan_text(CLEAN_UP), UNIT, only=["put back"]).ended.exit_code == 0
