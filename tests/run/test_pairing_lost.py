"""The link ends at every PDU of plans that pair: each run ends by itself with the right cause, and the next one passes."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from benchrig.radio.virtual import AirPdu, Faults
from benchrig.record.events import Noted
from tests.run.kit import DEVICES, PLANS, Ran, pieces, run
from tests.run.test_pairing import AGAIN, BOND, CLEARED, NAMES, SHOWS, WRONG, lock, plan_text

SECURE = (PLANS / "secure_end_of_line.yaml", DEVICES / "secure_logger.yaml")
PAIRS = (plan_text(WRONG + BOND + AGAIN + "  - encrypt:\n" + CLEARED, attributes=NAMES), lock(SHOWS))
PLANS_THAT_PAIR = {"small": PAIRS, "secure": SECURE}
PIECES = 40
# A plan that sends more loses its link at every second one, third one and so on.
MOST_PDUS = 125


@cache
def pdus(name: str) -> int:
    seen: list[AirPdu] = []
    assert run(*PLANS_THAT_PAIR[name], faults=Faults(fate=seen.append)).ended.verdict == "pass"
    return len(seen)


def check(ran: Ran, position: int) -> None:
    assert ran.tasks_left == 0, position
    assert ran.stray == [], position
    if ran.ended.verdict == "pass":
        # lost while connecting, or after a pairing that had to fail; or with the step that makes the unit forget
        again = [each for each in ran.events if isinstance(each, Noted) and each.text.startswith("connected again")]
        assert again or any(step.retries for step in ran.record.steps) or in_unpair(ran), position
        return
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link"), (position, ran.ended.message)


def in_unpair(ran: Ran) -> bool:
    """Whether the link may have ended in the last step of an unpair step, which connects again."""
    return any(one.planned.kind == "unpair" for one in ran.record.executions)


@pytest.mark.parametrize("piece", pieces(PIECES, 0))
@pytest.mark.parametrize("name", ["small", pytest.param("secure", marks=pytest.mark.slow)])
def test_the_link_lost_along_the_plan(name: str, piece: int) -> None:
    plan, device = PLANS_THAT_PAIR[name]
    assert pdus(name) > 60
    for position in range(1, pdus(name) + 1, 1 + pdus(name) // MOST_PDUS)[piece::PIECES]:
        check(run(plan, device, faults=Faults(kill_at=position)), position)
    assert run(plan, device).ended.verdict == "pass"


def test_the_plans_are_there() -> None:
    assert all(isinstance(part, str) or Path(part).exists() for pair in PLANS_THAT_PAIR.values() for part in pair)
