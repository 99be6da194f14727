"""Groups, rounds and conditions nested at random: every step ends once, a bad unit is found wherever a step looks at it,
and nothing passes where nothing was judged. What should come out is worked out here, by other means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random
from textwrap import indent

import pytest

from tests.run.kit import device_text, pieces, plan_text, run

GIVEN = "given: {market: {one_of: [de, us]}, model: {one_of: [basic, plus, pro]}}\n"
USES = "  - wait: 10 ms\n    name: at '${market}' '${model}'\n"
SERVICES = """\
services:
  - service: battery
    characteristics: [{{characteristic: battery level, properties: [read], value: 80 %}}]
  - service: environmental sensing
    characteristics: [{{characteristic: temperature, properties: [read], value: {0} °C}}]
"""
CONDITIONS = {
    "market: {equals: de}": lambda market, model: market == "de",
    "market: {differs: de}": lambda market, model: market != "de",
    "model: {one_of: [plus, pro]}": lambda market, model: model != "basic",
    "model: {equals: pro}": lambda market, model: model == "pro",
}
LEAVES = {"wait": "wait: 10 ms", "good": "read: battery level", "bad": "read: temperature"}
LIMITS = {"good": "expect: {value: {min: 20 %}}", "bad": "expect: {value: {max: 30 °C}}"}


@dataclass
class Drawn:
    """A step of a drawn plan, with the conditions of its own."""

    kind: str
    conditions: list[str]
    judges: bool
    name: str
    inner: list[Drawn] = field(default_factory=list)

    def holds(self, market: str, model: str) -> bool:
        return all(CONDITIONS[each](market, model) for each in self.conditions)

    @property
    def text(self) -> str:
        keys = [f"only_if: {{{', '.join(self.conditions)}}}"] if self.conditions else []
        if self.inner:
            keys += ["expect: {failed: {max: 0}}"] if self.judges else []
            keys.append("steps:\n" + indent("\n".join(each.text for each in self.inner), "  "))
            head = f"group: {self.name}" if self.kind == "group" else f"repeat: 2\n  name: {self.name}"
        else:
            keys += [LIMITS[self.kind]] if self.judges and self.kind in LIMITS else []
            head = f"{LEAVES[self.kind]}\n  name: {self.name}"
        return "- " + "\n".join([head, *(indent(key, "  ") for key in keys)])


def can_hold(conditions: list[str]) -> bool:
    """Whether there is a run for them: check refuses what is in none."""
    given = [(market, model) for market in ("de", "us") for model in ("basic", "plus", "pro")]
    return any(all(CONDITIONS[each](*values) for each in conditions) for values in given)


def drawn(random: Random, names: Iterator[int], around: list[str], depth: int = 0) -> Drawn:
    kinds = [*LEAVES] if depth == 3 else [*LEAVES, "group", "repeat", "group"]
    kind = random.choice(kinds)
    by_value = {each.partition(":")[0]: each for each in random.sample([*CONDITIONS], random.choice((0, 0, 1, 2)))}
    own = [*by_value.values()] if can_hold([*around, *by_value.values()]) else []
    step = Drawn(kind, own, random.random() < 0.6, f"s{next(names)}")
    if kind not in LEAVES:
        step.inner = [drawn(random, names, [*around, *own], depth + 1) for _ in range(random.randint(1, 3))]
    return step


def applied(steps: list[Drawn], market: str, model: str) -> Iterator[Drawn]:
    """What is carried out: of composite steps those in which anything is."""
    for step in steps:
        inner = [*applied(step.inner, market, model)]
        if step.holds(market, model) and (inner or step.kind in LEAVES):
            yield step
            yield from inner


def every(steps: list[Drawn]) -> Iterator[Drawn]:
    for step in steps:
        yield step
        yield from every(step.inner)


@pytest.mark.parametrize("seed", pieces(400, *range(12)))
def test_any_nesting_of_groups_rounds_and_conditions(seed: int) -> None:
    random = Random(seed)
    names = iter(range(1000))
    steps = [drawn(random, names, []) for _ in range(random.randint(1, 4))]
    market, model, is_bad = random.choice(["de", "us"]), random.choice(["basic", "plus", "pro"]), random.random() < 0.5
    device = device_text(SERVICES.format(35 if is_bad else 20))
    text = plan_text(USES + indent("\n".join(step.text for step in steps) + "\n", "  "), head=GIVEN)
    ran = run(text, device, given={"market": market, "model": model})
    begun = [*applied(steps, market, model)]
    judged = [step for step in begun if step.judges and step.kind != "wait"]
    found = is_bad and any(step.kind == "bad" for step in judged)
    expected = "fail" if found else "pass" if judged else "error"
    assert (ran.ended.verdict, ran.ended.exit_code) == (expected, {"fail": 1, "pass": 0, "error": 5}[expected])
    ends = {each.planned.name: each for each in ran.record.executions if each.ended}
    left_out = {name for name, each in ends.items() if each.ended and each.ended.allowed}
    if not found:
        assert left_out == {step.name for step in every(steps)} - {step.name for step in begun}
