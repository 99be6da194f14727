"""The link ends at every L2CAP PDU of the end-of-line plan in turn: each run ends by itself, with the right verdict."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import msgspec
import pytest

from benchrig.radio.virtual import AirPdu, Faults
from benchrig.record.model import Record
from benchrig.report.files.junit import junit_xml
from tests.report.schemas import errors
from tests.run.kit import DEVICES, LINE, PLANS, Ran, pieces, plan_text, run
from tests.run.test_losses import NAMES, unit

PLAN, DEVICE = LINE, DEVICES / "logger.yaml"
# The sweep is cut into pieces so that a failure names its neighbourhood and no piece takes long.
PIECES = 24
# A plan that sends several times as many loses its link at every second one, third one and so on.
MOST_PDUS = 100


BOX = ("box_end_of_line", "box_nightly", "returned_box", "box_bringup")


@cache
def count_pdus(plan: Path, device: Path) -> int:
    seen: list[AirPdu] = []
    assert run(plan, device, faults=Faults(fate=seen.append)).ended.verdict == "pass"
    return len(seen)


@pytest.fixture(scope="module")
def pdus() -> int:
    return count_pdus(PLAN, DEVICE)


def is_meant(ran: Ran) -> bool:
    """Whether the link was lost where the plan wants it to be, in a step that waits for its end."""
    losses = [
        one for one in ran.record.executions if one.planned.kind == "reboot" or "lost_after" in one.planned.limits
    ]
    if ran.ended.verdict == "pass":
        return any(one.readings for one in losses)
    return ran.ended.root in [each.where for one in losses for each in one.all()]


def check(ran: Ran, position: int) -> None:
    """What must hold wherever the link was lost."""
    assert ran.tasks_left == 0, position
    assert ran.stray == [], position
    assert msgspec.convert(msgspec.to_builtins(ran.record), Record) == ran.record
    assert errors(junit_xml(ran.record), "junit-10") == []
    tried_again = any(step.retries for step in ran.record.steps)
    if ran.ended.verdict == "pass":
        # lost while connecting: another attempt made it, and the record says so
        assert tried_again or is_meant(ran), position
        return
    if is_meant(ran):
        assert ran.ended.cause in ("device", "limit", "link"), (position, ran.ended)
        return
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "link", 1), (position, ran.ended)
    assert ran.ended.root is not None
    [root] = [one for one in ran.record.executions if one.where == ran.ended.root]
    assert root.ended is not None
    assert "lost" in root.ended.message, position
    blamed = {step.ended.root for step in ran.record.steps if step.ended and step.ended.verdict == "skip"}
    assert blamed <= {ran.ended.root}, position
    ends = [one.ended for one in ran.record.executions if one.ended and one.ended.verdict == "fail"]
    failed = [end for end in ends if end.root is None]  # a step with steps names the one in it that failed
    assert len(failed) == 1, "one root cause is reported once"


@pytest.mark.parametrize("piece", pieces(PIECES, 0, 13))
def test_link_lost_at_every_pdu(piece: int, pdus: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert pdus > 150
    for position in range(1 + piece, pdus + 1, PIECES):
        ran = run(PLAN, DEVICE, faults=Faults(kill_at=position))
        check(ran, position)
    assert capsys.readouterr() == ("", "")


@pytest.mark.timeout(300)
@pytest.mark.parametrize("piece", pieces(PIECES))
@pytest.mark.parametrize("name", BOX)
def test_link_lost_along_the_plans_of_the_box(name: str, piece: int) -> None:
    plan, device = PLANS / f"{name}.yaml", DEVICES / "transport_box.yaml"
    pdus = count_pdus(plan, device)
    for position in range(1, pdus + 1, max(1, pdus // MOST_PDUS))[piece::PIECES]:
        check(run(plan, device, faults=Faults(kill_at=position)), position)


RESTARTS = plan_text(
    """  - write: restart
    value: 1
    within: 4 s
    expect: {lost_after: {max: 3 s}}
  - scan:
    name: silence
    for: 500 ms
    expect: {heard: {equals: false}}
  - connect:
    name: again
    attempts: 3
    expect: {advertises_after: {min: 500 ms, max: 6 s}}
  - write: state
    value: 1
    expect: {att_error: {equals: write not permitted}}
  - reboot:
    within: 12 s
    steps: [{write: restart, value: 1, name: restarts again}]
    expect: {advertises_after: {min: 500 ms, max: 6 s}}
  - read: state
    expect: {value: {equals: 7}}
  - disconnect:
  - scan:
    name: until
    until: {name: {equals: unit 1}}
""",
    attributes=NAMES,
)
# what may end by the loss, which is then no failure
MAY_LOSE = ("write restart", "restarts again")


def said(ran: Ran) -> str:
    return "; ".join(note.text for step in ran.record.executions for note in step.notes)


def losses(ran: Ran) -> list[object]:
    return [each.value for step in ran.record.executions for each in step.readings if each.name == "lost_after"]


@pytest.mark.slow
@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_link_that_must_end_lost_at_every_pdu(air: str) -> None:
    """A loss in the step that must end the link passes; before and after it the link is blamed, and the unit where it is
    back too early."""
    device, seen = unit("reboot: 3 s"), list[AirPdu]()
    sound = run(RESTARTS, device, air=air, faults=Faults(fate=seen.append))
    assert sound.ended.exit_code == 0
    for position in range(1, len(seen) + 1):
        ran = run(RESTARTS, device, air=air, faults=Faults(kill_at=position))
        assert (ran.tasks_left, ran.stray) == (0, []), position
        assert msgspec.convert(msgspec.to_builtins(ran.record), Record) == ran.record
        if ran.ended.exit_code == 0:
            tried_again = any(step.retries for step in ran.record.executions) or "connected again" in said(ran)
            assert tried_again or losses(ran) != losses(sound), position
            continue
        root = next(each for each in ran.record.executions if each.ended and each.where == ran.ended.root)
        assert (ran.ended.verdict, ran.ended.exit_code) == ("fail", 1), (position, ran.ended)
        early = ran.ended.cause == "limit" and root.planned.name in ("silence", "again", "reboot")
        assert early or (ran.ended.cause == "link" and root.planned.name not in MAY_LOSE), (position, ran.ended)


def test_lost_after_the_last_pdu_changes_nothing(pdus: int) -> None:
    assert run(PLAN, DEVICE, faults=Faults(kill_at=pdus + 1)).ended.verdict == "pass"
