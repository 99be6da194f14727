"""The search for wrong greens: one step after the other is taken out of what the device does, and no run may pass that asks
for it. The plans that ship, and as many at random.

python -m tests.run.test_wrong_greens does it on both airs with three seeds each.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import cycle
from pathlib import Path
from typing import NamedTuple

import pytest

from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.faults import Faults
from benchrig.record.events import AnyEvent, Closed
from benchrig.record.model import Execution
from benchrig.run.runner import Runner
from benchrig.steps import KINDS
from benchrig.steps.base import Cap
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, run
from tests.run.random_plans import AGAIN, DEVICE, STEPS, plan_of
from tests.run.sabotage import MODES, Saboteur

RANDOM = 30
# Plans with hundreds of attacks are cut into so many pieces, and each attack is made on one air.
PIECES = {
    "nightly_regression": 6, "box_nightly": 5, "secure_nightly": 10,
    "end_of_line": 3, "box_end_of_line": 3, "secure_end_of_line": 3,
}  # fmt: skip
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


class Attack(NamedTuple):
    number: str
    mode: str
    air: str
    seed: int

    def __str__(self) -> str:
        return f"step {self.number}: {self.mode}, {self.air} air, seed {self.seed}"


@dataclass(frozen=True)
class Sound:
    """What the sound device did, by step, and the steps that end a link."""

    made: dict[str, list[Execution]]
    ending: set[str]

    @classmethod
    def of(cls, ran: Ran) -> Sound:
        ending = {step.id for step in ran.plan.steps if Cap.LINK in step.ends}
        made = defaultdict(list)
        for each in ran.record.executions:
            if each.opened is not None:
                made[each.where.node].append(each)
        return cls(made, ending)

    def outlasts(self, step: StepPlan) -> bool:
        """Whether time passes from its begin until another step ends the link."""
        return not self._begins({step.id}) <= self._begins(self.ending - {step.id})

    def _begins(self, nodes: set[str]) -> set[float]:
        return {each.opened.at for node in nodes for each in self.made[node] if each.opened}


def asks_for(step: StepPlan, mode: str, connected: bool, judged: list[str], sound: Sound) -> bool:
    """Whether the plan speaks of what the device leaves out in this mode while the step is at work: `judged` are the readings
    of the step that it limits there, or at a step around it. Nothing is left out where the sound device has nothing."""
    verb, made = step.kind.verb, sound.made[step.id]
    if mode not in ASKS[verb] or (verb == "connect" and connected):
        return False
    if step.step is not None and step.step.expects_silence:
        return False
    if mode in ("no answer", "no notification") and not _needs_link(step):
        return False
    asked = {
        "no answer": _has_response(step) and not step.loses,
        "no value": any(name.partition(".")[0] in _VALUES for name in judged) and not _is_empty(made),
        # a line is asked for by until, and of a stream by a limit on it
        # without `send` a line may have come while the step before was at work
        "mute": {"until", "send"} <= step.node.entries.keys() or (_on_console(judged) and _has_printed(made)),
        "link gone": connected and not step.loses and sound.outlasts(step),
    }
    return asked.get(mode, True)


def _is_empty(made: list[Execution]) -> bool:
    """Whether all values are without any octets."""
    values = [each.value for one in made for each in one.readings if each.name in ("value", "raw")]
    return bool(values) and all(value in ("", None) for value in values)


def _on_console(judged: list[str]) -> bool:
    return any(name.startswith("console.") for name in judged)


def _has_printed(made: list[Execution]) -> bool:
    lines = [each.samples for one in made for each in one.readings if each.name == "console.line"]
    return any(each is not None and each.count for each in lines)


def _needs_link(step: StepPlan) -> bool:
    """Not a listen to the console alone; one that makes links of its own needs one too."""
    return Cap.LINK in step.needs or Cap.LINK in step.gives or step.kind.unbonded


def _has_response(step: StepPlan) -> bool:
    response = step.node.get("response")
    return response is None or getattr(response, "value", True) is not False


def attacks(name: str) -> Iterator[tuple[str, str]]:
    """(step, mode) for everything that the plan asks for."""
    plan, did = sound(name).plan, Sound.of(sound(name))
    connected = False
    let_go = {step.lets_go.id for step in plan.steps if step.lets_go}
    limits = [name for step in plan.steps if step.parts for name in step.limit_names]
    for step in plan.steps:
        if step.id in let_go:
            continue
        around = [name.removeprefix(f"{step.name}.") for name in limits if name.startswith(f"{step.name}.")]
        judged = [*step.limit_names, *around]
        yield from ((step.id, mode) for mode in MODES if asks_for(step, mode, connected, judged, did))
        connected = (connected or Cap.LINK in step.gives) and Cap.LINK not in step.ends


def attacked(name: str, attack: Attack, *, whole: bool = False) -> Ran:
    """Until a step of the plan itself did not pass, unless that decides nothing without what comes after it."""
    plan, device = sources(name)
    saboteur = Saboteur(attack.mode, attack.number)

    def seen(runner: Runner, event: AnyEvent) -> None:
        during(runner, event)
        if not whole and _fails(event):
            runner.interrupt()

    with saboteur.at_work() as during:
        ran = run(plan, device, faults=Faults(), seed=attack.seed, air=attack.air, during=seen)
    return attacked(name, attack, whole=True) if ran.ended.cause == "operator" else ran


def _fails(event: AnyEvent) -> bool:
    return isinstance(event, Closed) and event.verdict in ("fail", "error") and "." not in event.where.node


def wrong_greens(name: str, tried: Iterable[Attack]) -> list[str]:
    return [f"{name}, {attack}" for attack in tried if attacked(name, attack).ended.exit_code == 0]


def alternately(name: str) -> list[Attack]:
    """Every attack once, on the kind air and the rough one in turn."""
    airs = cycle([("kind", 1), ("rough", 2)])
    return [Attack(number, mode, *air) for (number, mode), air in zip(attacks(name), airs, strict=False)]


def on_all(name: str, airs: list[tuple[str, int]]) -> list[Attack]:
    return [Attack(number, mode, *air) for number, mode in attacks(name) for air in airs]


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize(
    ("name", "piece"),
    [(name, piece) for name in [*SHIPPED, *map(str, range(RANDOM))] for piece in range(PIECES.get(name, 1))],
)
def test_nothing_passes_that_the_device_did_not_do(name: str, piece: int) -> None:
    pieces = PIECES.get(name, 0)
    tried = alternately(name)[piece::pieces] if pieces else on_all(name, [("kind", 1), ("rough", 2)])
    assert wrong_greens(name, tried) == []


@pytest.mark.parametrize("name", ["smoke", "14"])
def test_nothing_passes_that_the_device_did_not_do_in_short(name: str) -> None:
    assert wrong_greens(name, on_all(name, [("rough", 3)])) == []


@pytest.mark.parametrize("mode", MODES)
def test_the_saboteur_is_caught_in_the_step_that_it_attacks(mode: str) -> None:
    names = map(str, range(RANDOM))
    name, number = next((name, at) for name in names for at, each in attacks(name) if each == mode and "." not in at)
    ran = attacked(name, Attack(number, mode, "kind", 1))
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
        tried = on_all(name, airs)
        runs += len(tried)
        for sentence in wrong_greens(name, tried):
            found += 1
            print(sentence, flush=True)
    print(f"{runs} runs, {found} wrong greens")
    return bool(found)


if __name__ == "__main__":
    sys.exit(main())
