"""Plans of steps within steps at random, with whatever may become of them: what passes, fails, breaks, is left out, is
interrupted."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, field
from typing import Any

from tests.run.kit import device_text

# What a step may be, by what becomes of it while the link is up.
PASS = [{"wait": "100 ms", "expect": {"elapsed": {"max": "1 s"}}}, {"read": "battery level", "expect": {"value": {"min": "50 %"}}},
        {"compute": {"x": 5}, "expect": {"x": {"equals": 5}}}, {"wait": "2 s"},
        {"pair": "none", "expect": {"bonded": {"equals": True}}}]  # fmt: skip
FAIL = [{"wait": "200 ms", "expect": {"elapsed": {"max": "100 ms"}}}, {"read": "key", "expect": {"value": {"min": 1}}},
        {"compute": {"x": 5}, "expect": {"x": {"equals": 6}}}, {"read": "battery level", "expect": {"value": {"min": "90 %"}}},
        {"pair": "none", "expect": {"failure": {"equals": "repeated attempts"}}},
        {"pair": "keyboard", "steps": [{"wait": "50 ms"}]}]  # fmt: skip
BREAK = [
    {"call": "nothing_here:at_all", "expect": {"value": {"equals": 1}}},
    {"ask": "Ready?", "expect": {"answer": {"equals": True}}},
]
KEY = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
DEVICE = """services:
  - service: battery service
    characteristics: [{characteristic: battery level, properties: [read], value: 80 %}]
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics: [{characteristic: KEY, as: uint8, properties: [read], value: 7, on_read: {att_error: 0x80}}]
"""


@dataclass
class Tree:
    """A plan, the device for it, and when it is interrupted."""

    plan: str
    device: str
    interruptions: list[float] = field(default_factory=list)


def tree_of(seed: int) -> Tree:
    chance = random.Random(seed)
    steps = _Steps(chance)
    body, last = steps.of(3, chance.randint(2, 5)), steps.of(2, chance.randint(0, 2))
    plan: dict[str, Any] = {
        "plan": f"tree {seed}",
        "device": {"select": {"name": "unit*"}, "attributes": {"key": {"uuid": KEY, "as": "uint8"}}},
        "given": {"market": {"one_of": ["de", "us"], "default": "de", "record": True}},
    }
    if chance.random() < 0.2:
        plan["deadline"] = f"{chance.randint(1, 20)} s"
    plan["steps"] = [{"scan": None, "for": "300 ms"}, {"connect": None}, *body]
    plan |= {"finally": last} if last else {}
    lost = f"faults: {{disconnect_after: {chance.randint(1, 20)} s}}" if chance.random() < 0.4 else ""
    times = sorted(chance.uniform(0.5, 20) for _ in range(chance.choice([0, 0, 0, 1, 1, 2])))
    return Tree(json.dumps(plan), device_text(DEVICE.replace("KEY", KEY), more=lost), times)


class _Steps:
    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._count = 0
        # how likely a step fails: of plans where many do hardly one passes
        self._bad = chance.choice([0.0, 0.03, 0.25])
        self._over: list[str] = []

    def of(self, deep: int, count: int) -> list[dict[str, Any]]:
        return [self._step(deep) for _ in range(count)]

    def _step(self, deep: int) -> dict[str, Any]:
        chance, over = self._chance, [*self._over]
        composite = deep > 0 and chance.random() < 0.45
        step = self._composite(deep) if composite else dict(self._leaf())
        self._count += 1
        name = f"step {self._count}"
        step[("group" if "group" in step else "name")] = name
        if chance.random() < 0.12:
            step["on_fail"] = "stop"
        markets = [market for market in ("de", "us") if _has_only(step, market)]
        if chance.random() < 0.12 and markets:
            step["only_if"] = {"market": {"equals": chance.choice(markets)}}
        if over and chance.random() < 0.12:
            step["only_after"] = chance.sample(over, min(len(over), chance.randint(1, 2)))
        self._over.append(name)
        return step

    def _leaf(self) -> dict[str, Any]:
        draw = self._chance.random()
        good = 1 - self._bad
        return self._chance.choice(PASS if draw < good else FAIL if draw < good + self._bad * 0.9 else BREAK)

    def _composite(self, deep: int) -> dict[str, Any]:
        chance, before = self._chance, len(self._over)
        if chance.random() < 0.5:
            step: dict[str, Any] = {"group": ""}
            for part, likely in (("first", 0.5), ("steps", 1), ("finally", 0.5)):
                if chance.random() < likely:
                    step[part] = self.of(deep - 1, chance.randint(1, 2))
        else:
            step = self._repetition({"steps": self.of(deep - 1, chance.randint(1, 3))})
        self._expect(step, self._over[before:])
        return step

    def _repetition(self, inner: dict[str, Any]) -> dict[str, Any]:
        chance = self._chance
        self._count += 1
        value = f"value{self._count}"
        step = {"repeat": chance.choice([1, 2, 3, "3 s", {value: [1, 2]}]), **inner}
        if isinstance(step["repeat"], dict):
            step["steps"] = [*step["steps"], {"compute": {"x": f"${{{value} + round}}"}, "name": f"sum {self._count}"}]
        if isinstance(step["repeat"], str) or chance.random() < 0.3:
            step["every"] = "1 s"
        if chance.random() < 0.3:
            step["stop_when"] = {chance.choice(["failed", "rounds"]): {"min": chance.randint(1, 2)}}
        return step

    def _expect(self, step: dict[str, Any], names: list[str]) -> None:
        chance, limits = self._chance, dict[str, Any]()
        if chance.random() < 0.3:
            limits["failed"] = {"max": chance.randint(0, 2)}
        if chance.random() < 0.2:
            limits["passed"] = {"min": chance.randint(0, 2)}
        if chance.random() < 0.3:
            limits["elapsed"] = {"max": chance.choice(["1 ms", "1 min"])}
        waits = [name for name in names if chance.random() < 0.5 and self._waits(step, name)]
        if waits:
            limits[f"{waits[0]}.elapsed"] = {"max": "1 s"}
            limits[f"{waits[0]}.elapsed.p95"] = {"max": "1 s"}
        if limits:
            step["expect"] = limits

    def _waits(self, step: dict[str, Any], name: str) -> bool:
        return any("wait" in each and each.get("name") == name for each in step["steps"])


def _has_only(step: dict[str, Any], market: str) -> bool:
    """Whether no step in it is for another market: no run would have that."""
    inner = [each for part in ("first", "steps", "finally") for each in step.get(part, [])]
    own = step.get("only_if", {}).get("market", {}).get("equals", market)
    return own == market and all(_has_only(each, market) for each in inner)
