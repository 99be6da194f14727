"""Two units of one kind on the air, arranged at random: no run judges another unit than it says, none passes without
knowing which one it judged."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass

import pytest

from benchrig.record.events import Reading
from tests.run.kit import HEAD, Ran, device_text, run

ADDRESSES = {"1": "C4:00:00:00:00:01", "2": "C4:00:00:00:00:02"}
NAMES = "  attributes:\n    number: {uuid: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8}\n"


@dataclass(frozen=True)
class Arrangement:
    """The two units, the plan, the air and the seed of one run."""

    units: tuple[str, str]
    plan: str
    air: str
    seed: int


def arrangement(seed: int) -> Arrangement:
    chance = random.Random(seed)
    return Arrangement((unit("1", chance), unit("2", chance)), plan(chance), chance.choice(["kind", "rough"]), seed)


def unit(number: str, chance: random.Random) -> str:
    """Each says its own number over the link, so that it is known which one was read."""
    service = (
        "services:\n  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40\n    characteristics:\n"
        f"      - {{characteristic: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: uint8, properties: [read], value: {number}}}"
    )
    faults = [
        f"refuse_connections: {chance.randint(1, 3)}" if chance.random() < 0.4 else "",
        f"stop_advertising_after: {chance.randint(1, 12)} s" if chance.random() < 0.3 else "",
        f"disconnect_after: {chance.choice([100, 400, 2000])} ms" if chance.random() < 0.2 else "",
    ]
    listed = ", ".join(fault for fault in faults if fault)
    text = device_text(service, name=f"unit {number}", address=ADDRESSES[number])
    interval = chance.choice([20, 100, 500, 1500])
    more = f"rssi: {{mean: {-chance.randint(40, 80)} dBm, spread: {chance.randint(0, 4)} dB}}\n"
    return (
        text.replace("interval: 20 ms", f"interval: {interval} ms")
        + more
        + (f"faults: {{{listed}}}\n" if listed else "")
    )


def plan(chance: random.Random) -> str:
    nearest = ", nearest: 6 dB" if chance.random() < 0.6 else ""
    head = HEAD.replace("{name: 'unit*'}", f"{{name: 'unit*'{nearest}}}") + NAMES
    steps = []
    for _ in range(chance.randint(1, 3)):
        if chance.random() < 0.6:
            steps.append(f"scan:\n    for: {chance.choice([200, 1000, 3000])} ms")
        fresh = "    fresh: true\n" if chance.random() < 0.3 else ""
        steps.append(f"connect:\n{fresh}    attempts: {chance.randint(1, 3)}\n    within: {chance.randint(9, 14)} s")
        steps.append("read: number\n    expect: {value: {min: 1}}")
        steps.append("disconnect:")
    return head + "steps:\n" + "".join(f"  - {step}\n    name: step {n}\n" for n, step in enumerate(steps, 1))


def judged(ran: Ran) -> set[str]:
    """The units whose own number was read."""
    return {ADDRESSES[str(e.value)] for e in ran.events if isinstance(e, Reading) and e.name == "value"}


def said(ran: Ran) -> set[str]:
    return {seen.address for seen in ran.record.sightings if seen.address}


def wrongs(seed: int) -> list[str]:
    one = arrangement(seed)
    ran = run(one.plan, *one.units, air=one.air, seed=seed)
    wrong = []
    if len(said(ran)) > 1:
        wrong.append(f"{seed}: the run speaks of {said(ran)}")
    if judged(ran) - said(ran):
        wrong.append(f"{seed}: the run says {said(ran)} and judged {judged(ran)}")
    if ran.ended.exit_code == 0 and (judged(ran) != said(ran) or _undecided(one)):
        wrong.append(f"{seed}: a pass that could not know")
    return wrong


def _undecided(one: Arrangement) -> bool:
    """Whether both were there to be heard when the unit was first looked for, and the plan has nothing to choose by."""
    always_there = all(
        "stop_advertising" not in unit and re.search(r"interval: (20|100) ms", unit) for unit in one.units
    )
    listens_long = "for: 200 ms" not in one.plan.partition("connect:")[0]
    return always_there and listens_long and "nearest" not in one.plan


PIECES = 20


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("piece", range(PIECES))
def test_no_run_judges_another_unit_than_it_says(piece: int) -> None:
    found = [wrong for seed in range(piece, 1000, PIECES) for wrong in wrongs(seed)]
    assert found == []


@pytest.mark.slow
def test_the_arrangements_are_of_every_kind() -> None:
    """Passes, failures and runs that could not tell; some of the last because nothing decides."""
    ones = [arrangement(seed) for seed in range(16)]
    codes = {run(one.plan, *one.units, air=one.air, seed=one.seed).ended.exit_code for one in ones}
    assert codes == {0, 1, 7}
    assert any(map(_undecided, ones))


def test_no_run_judges_another_unit_than_it_says_in_short() -> None:
    assert [wrong for seed in range(1000, 1008) for wrong in wrongs(seed)] == []
