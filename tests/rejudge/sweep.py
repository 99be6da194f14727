"""Whether a run comes to what it came to when it is judged again, over plans, seeds and faults, and by other limits to what
a run with these comes to.

python -m tests.rejudge.sweep [PLAN…]    200 seeds, 100 faults and 60 limits of each plan that ships, on all cores
"""

from __future__ import annotations

import random
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchrig.plan.loader import load_plan
from benchrig.record.model import Record
from benchrig.testing import faults_of, run_plan
from tests.rejudge.kit import again
from tests.rejudge.revisions import compared
from tests.run.kit import DEVICES, PLANS, SHIPPED, run

AIRS = ("kind", "rough")


def check(record: Record, plan: Path) -> None:
    found = again(record, plan)
    assert found.as_run
    assert found.altered == []
    assert found.unknown == []
    assert found.ended == record.ended
    judged = sum(reading.judgement is not None for each in record.executions for reading in each.readings)
    held = sum(each.after is not None for done in found.done for each in done.held)
    assert held == judged > 0


def sound(name: str, seeds: range) -> None:
    plan, device = PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml"
    for seed in seeds:
        check(run(plan, device, air=AIRS[seed % 2], seed=seed).record, plan)


def faulty(name: str, count: int, seed: int) -> None:
    """On devices with faults drawn from all that there are: so many, and on until the plan finds one of them."""
    plan, device, chance = PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml", random.Random(f"{name} {seed}")
    verdicts: list[str] = []
    faults = faults_of(device, plan=load_plan(plan, {}))
    for fault in chance.sample(faults, len(faults)):
        if len(verdicts) >= count and "fail" in verdicts:
            return
        ran = run_plan(plan, device, fault=fault, air=chance.choice(AIRS), seed=chance.randrange(1000))
        verdicts.append(ran.ended.verdict)
        check_any(ran.record, plan)
    assert "fail" in verdicts


def check_any(record: Record, plan: Path) -> None:
    """Also of a run that judged nothing."""
    found = again(record, plan)
    assert (found.altered, found.unknown, found.ended) == ([], [], record.ended)


def _piece(name: str, piece: int) -> str:
    try:
        sound(name, range(20 * piece, 20 * piece + 20))
        faulty(name, 10, 100 + piece)
        compared(name, 6, 100 + piece)
    except AssertionError as error:
        return f"{name}, piece {piece}: {error!r}"
    return ""


def main(names: list[str]) -> int:
    jobs = [(name, piece) for name in names or SHIPPED for piece in range(10)]
    with ProcessPoolExecutor() as pool:
        failed = [said for said in pool.map(_piece, *zip(*jobs, strict=True)) if said]
    print(*failed, f"{len(jobs)} pieces of 20 seeds, 10 faults and 6 limits, {len(failed)} with a difference", sep="\n")
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
