"""The link ends at every L2CAP PDU of the end-of-line plan in turn: each run ends by itself, with the right verdict."""

from __future__ import annotations

import msgspec
import pytest

from benchrig.radio.virtual import AirPdu, Faults
from benchrig.record.model import Record
from benchrig.report.files.junit import junit_xml
from tests.report.schemas import errors
from tests.run.kit import DEVICES, PLANS, Ran, pieces, run

PLAN, DEVICE = PLANS / "end_of_line.yaml", DEVICES / "logger.yaml"
# The sweep is cut into pieces so that a failure names its neighbourhood and no piece takes long.
PIECES = 24


def count_pdus() -> int:
    seen: list[AirPdu] = []
    assert run(PLAN, DEVICE, faults=Faults(fate=seen.append)).ended.verdict == "pass"
    return len(seen)


@pytest.fixture(scope="module")
def pdus() -> int:
    return count_pdus()


def check(ran: Ran, position: int) -> None:
    """What must hold wherever the link was lost."""
    assert ran.tasks_left == 0, position
    assert ran.stray == [], position
    assert msgspec.convert(msgspec.to_builtins(ran.record), Record) == ran.record
    assert errors(junit_xml(ran.record), "junit-10") == []
    tried_again = any(step.retries for step in ran.record.steps)
    if ran.ended.verdict == "pass":
        # lost while connecting: another attempt made it, and the record says so
        assert tried_again, position
        return
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "link", 1), (position, ran.ended)
    root = ran.step(ran.ended.root.node)
    assert root.ended is not None
    assert "lost" in root.ended.message, position
    blamed = {step.ended.root for step in ran.record.steps if step.ended and step.ended.verdict == "skip"}
    assert blamed <= {ran.ended.root}, position
    failed = [step for step in ran.record.steps if step.ended and step.ended.verdict == "fail"]
    assert len(failed) == 1, "one root cause is reported once"


@pytest.mark.parametrize("piece", pieces(PIECES, 0, 13))
def test_link_lost_at_every_pdu(piece: int, pdus: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert pdus > 150
    for position in range(1 + piece, pdus + 1, PIECES):
        ran = run(PLAN, DEVICE, faults=Faults(kill_at=position))
        check(ran, position)
    assert capsys.readouterr() == ("", "")


def test_lost_after_the_last_pdu_changes_nothing(pdus: int) -> None:
    assert run(PLAN, DEVICE, faults=Faults(kill_at=pdus + 1)).ended.verdict == "pass"
