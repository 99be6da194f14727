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
from benchrig.steps import KINDS
from benchrig.steps.base import Cap
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, run
from tests.run.random_plans import AGAIN, DEVICE, STEPS, plan_of
from tests.run.sabotage import MODES, Saboteur

RANDOM = 30
# kind of step -> the modes of sabotage that it cannot pass, where the step asks for what the device leaves out; a
# step with steps in it asks for nothing itself
ASKS = {
    "scan": {"silent", "link gone"},
    "connect": {"no answer", "refused", "silent"},
    "discover": set(),  # takes no time: its table was read with the connection
    "read": {"no answer", "no value", "link gone"},
    "write": {"no answer", "link gone"},
    "notify": {"no answer", "no notification", "no value", "link gone"},
    "exchange": {"no answer", "no notification", "no value", "link gone"},
    "disconnect": set(),
    "wait": {"link gone"},
    "ask": {"link gone"},
    "call": {"link gone"},
    "command": {"link gone"},
    "console": {"link gone", "mute"},
    "power": set(),
    "compute": set(),
    "group": set(),
    "listen": {"no answer", "no notification", "link gone", "mute"},
    "repeat": set(),
    "access": {"no answer", "refused", "silent", "no pairing"},  # the link before is ended by the step itself
    "reboot": {"no answer", "refused", "silent"},
    "pair": {"link gone", "no pairing"},
    "privacy": {"silent"},
    "encrypt": {"link gone"},
    "unpair": {"refused", "silent"},
    "robust": {"no answer", "refused", "silent", "link gone"},
}
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


def asks_for(step: StepPlan, mode: str, connected: bool, judged: list[str]) -> bool:
    """Whether the plan speaks of what the device leaves out in this mode while the step is at work: `judged` are the readings
    of the step that it limits there, or at a step around it."""
    verb = step.kind.verb
    if mode not in ASKS[verb] or (verb == "connect" and connected):
        return False
    if step.step is not None and step.step.expects_silence:
        return False
    if mode in ("no answer", "no notification") and not _needs_link(step):
        return False
    asked = {
        "no answer": _has_response(step) and not step.loses,
        "no value": any(name.partition(".")[0] in _VALUES for name in judged),
        # a line is asked for by until, and of a stream by a limit on it
        # without `send` a line may have come while the step before was at work
        "mute": {"until", "send"} <= step.node.entries.keys() or any(name.startswith("console.") for name in judged),
        "link gone": connected and not step.loses,
    }
    return asked.get(mode, True)


def _needs_link(step: StepPlan) -> bool:
    """Not a listen to the console alone; one that makes links of its own needs one too."""
    return Cap.LINK in step.needs or Cap.LINK in step.gives or step.kind.unbonded


def _has_response(step: StepPlan) -> bool:
    response = step.node.get("response")
    return response is None or getattr(response, "value", True) is not False


def attacks(name: str) -> Iterator[tuple[str, str]]:
    """(step, mode) for everything that the plan asks for."""
    plan = sound(name).runner.plan
    connected = False
    let_go = {step.lets_go.id for step in plan.steps if step.lets_go}
    limits = [name for step in plan.steps if step.parts for name in step.limit_names]
    for step in plan.steps:
        if step.id in let_go:
            continue
        around = [name.removeprefix(f"{step.name}.") for name in limits if name.startswith(f"{step.name}.")]
        judged = [*step.limit_names, *around]
        yield from ((step.id, mode) for mode in MODES if asks_for(step, mode, connected, judged))
        connected = (connected or Cap.LINK in step.gives) and Cap.LINK not in step.ends


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


@pytest.mark.parametrize("name", ["smoke", "14"])
def test_nothing_passes_that_the_device_did_not_do_in_short(name: str) -> None:
    assert list(wrong_greens(name, [("rough", 3)])) == []


@pytest.mark.parametrize("mode", MODES)
def test_the_saboteur_is_caught_in_the_step_that_it_attacks(mode: str) -> None:
    names = map(str, range(RANDOM))
    name, number = next((name, at) for name in names for at, each in attacks(name) if each == mode and "." not in at)
    ran = attacked(name, number, mode, "kind", 1)
    assert ran.ended.root is not None
    assert (ran.ended.root.node.partition(".")[0], ran.ended.exit_code) == (number, 1)
    assert ran.ended.cause in ("limit", "device", "link")


def test_every_kind_of_step_is_attacked() -> None:
    unsaid = KINDS.keys() - ASKS.keys()
    assert not unsaid, f"add to ASKS which modes of sabotage the step cannot pass: {unsaid}"
    needs_link = {verb for verb, kind in KINDS.items() if Cap.LINK in kind.needs and not kind.executes}
    undrawn = {verb for verb in needs_link if not any(f"{verb}:" in step for step in [*STEPS, *AGAIN])}
    assert not undrawn, f"add a step with a limit to STEPS of random_plans.py, which its device passes: {undrawn}"


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
