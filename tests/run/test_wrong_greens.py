"""The search for wrong greens: one step after the other is taken out of what the device does, and no run may pass that asks
for it. The plans that ship, and as many at random.

python -m tests.run.test_wrong_greens does it on both airs with three seeds each.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.faults import Faults
from benchrig.record.model import Where
from tests.run.kit import DEVICES, PLANS, Ran, run
from tests.run.random_plans import DEVICE, plan_of
from tests.run.sabotage import MODES, Saboteur

SHIPPED = {
    "end_of_line": "logger", "nightly_regression": "logger", "smoke": "logger", "twelve_checks": "sensor",
    "returned_unit": "logger",
}  # fmt: skip
RANDOM = 30
_VALUES = ("value", "raw", "length")


def sources(name: str) -> tuple[str | Path, str | Path]:
    """Plan and device: a shipped plan by its name, a random one by its number."""
    if name in SHIPPED:
        return PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml"
    return plan_of(int(name)), DEVICE


@cache
def sound(name: str) -> Ran:
    plan, device = sources(name)
    ran = run(plan, device)
    assert ran.ended.exit_code == 0, ran.ended.message
    return ran


def asks_for(step: StepPlan, mode: str, connected: bool) -> bool:
    """Whether the plan speaks of what the device leaves out in this mode while the step is at work."""
    verb = step.kind.verb
    answered = verb in ("read", "notify") or (verb in ("write", "exchange") and _has_response(step))
    return {
        "no answer": answered or (verb == "connect" and not connected),
        "no notification": verb in ("notify", "exchange"),
        "no value": verb in ("read", "notify", "exchange") and _judges_value(step),
        "link gone": connected and verb not in ("connect", "disconnect"),
        "refused": verb == "connect" and not connected,
        "silent": verb == "scan" or (verb == "connect" and not connected),
    }[mode]


def _has_response(step: StepPlan) -> bool:
    response = step.node.get("response")
    return response is None or getattr(response, "value", True) is not False


def _judges_value(step: StepPlan) -> bool:
    return any(name.partition(".")[0] in _VALUES for name in step.limit_names)


def attacks(name: str) -> Iterator[tuple[str, str]]:
    """(step, mode) for everything that the plan asks for."""
    plan = sound(name).runner.plan
    connected = False
    for step in plan.steps:
        yield from ((step.id, mode) for mode in MODES if asks_for(step, mode, connected))
        connected = {"connect": True, "disconnect": False}.get(step.kind.verb, connected)


def attacked(name: str, number: str, mode: str, air: str, seed: int) -> Ran:
    plan, device = sources(name)
    saboteur = Saboteur(mode, number)
    with saboteur.at_work() as during:
        return run(plan, device, faults=Faults(), seed=seed, air=air, during=during)


def wrong_greens(name: str, airs: list[tuple[str, int]]) -> Iterator[str]:
    for number, mode in attacks(name):
        for air, seed in airs:
            ran = attacked(name, number, mode, air, seed)
            if ran.ended.exit_code == 0:
                yield f"{name}, step {number}: {mode}, {air} air, seed {seed}"


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("name", [*SHIPPED, *map(str, range(RANDOM))])
def test_nothing_passes_that_the_device_did_not_do(name: str) -> None:
    assert list(wrong_greens(name, [("kind", 1), ("rough", 2)])) == []


@pytest.mark.parametrize("name", ["smoke", "0"])
def test_nothing_passes_that_the_device_did_not_do_in_short(name: str) -> None:
    assert list(wrong_greens(name, [("rough", 3)])) == []


@pytest.mark.parametrize("mode", MODES)
def test_the_saboteur_is_caught_in_the_step_that_it_attacks(mode: str) -> None:
    number = next(number for number, each in attacks("3") if each == mode)
    ran = attacked("3", number, mode, "kind", 1)
    assert (ran.ended.root, ran.ended.exit_code) == (Where(number), 1)
    assert ran.ended.cause in ("limit", "device", "link")


def main() -> int:
    airs = [(air, seed) for air in ("kind", "rough") for seed in (1, 2, 3)]
    runs = found = 0
    for name in [*SHIPPED, *map(str, range(RANDOM))]:
        runs += len(list(attacks(name))) * len(airs)
        for sentence in wrong_greens(name, airs):
            found += 1
            print(sentence, flush=True)
    print(f"{runs} runs, {found} wrong greens")
    return bool(found)


if __name__ == "__main__":
    sys.exit(main())
