"""The JSON Schema for editors: it takes every plan that ships and refuses what the loader refuses.

Judged by `jsonschema`, an implementation of JSON Schema 2020-12 that is independent of benchrig.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from benchrig.cli import main
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from tests.plan.building import HEAD, STEPS, plan_of, problems_of, with_steps
from tests.plan.test_mistakes import KEYS_AND_WORDS

PLANS = sorted((Path(__file__).parents[2] / "testplans").glob("*.yaml"))
SCHEMA = json.loads(CliRunner().invoke(main, ["check", "--schema"]).stdout)
JUDGE = Draft202012Validator(SCHEMA)


def accepted(text: str) -> bool:
    problems = Problems()
    node = read_text(text, "plan.yaml", problems)
    problems.raise_if_any()
    return JUDGE.is_valid(plain(node))


def test_it_is_a_schema():
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_plans_that_ship_are_accepted(path):
    assert accepted(path.read_text("utf-8"))


GOOD = [
    with_steps("- read: 0x2A19\n  attempts: 3\n  on_fail: stop"),
    with_steps("- read: temperature\n  attempts: '${most}'", "given: {most: {default: 3}}\n"),
    with_steps("- scan:\n  mode: '${how}'", "given: {how: {default: active}}\n"),
    with_steps("- wait: '${pause}'", "given: {pause: {default: 1 s}}\n"),
    with_steps("- write: alert level\n  raw: '${bytes}'", "given: {bytes: {default: '01'}}\n"),
    with_steps("- write: alert level\n  raw: '01'\n  response: '${how}'", "given: {how: {default: true}}\n"),
    with_steps("- write: temperature\n  value: 8 °C\n  format: {as: sint16, scale: '1/100', unit: °C}"),
    with_steps("- notify: heart rate measurement\n  for: 1 s\n  expect: {value.heart_rate: {min: 40 bpm}}"),
    with_steps("- read: temperature\n  expect: {value: {max: 8 °C, guard: {rule: JCGM 106, expanded: 0.2 K, k: 2, risk: '${r}'}}}", "given: {r: {default: 5 %}}\n"),
    with_steps("- command: [ls, -l]\n  expect: {exit_code: {equals: 0}, output: {length: {min: 1}}}"),
    with_steps("- call: module:function\n  with: {a: [1, {b: c}]}\n  expect: {value: {equals: true}}"),
    with_steps("- ask: Which one?\n  kind: choice\n  options: [a, b]"),
    with_steps("- discover:\n  expect: {table: {0x180F: {0x2A19: [read]}}, services: {contains: battery}}"),
    HEAD.replace("name: 'unit*'", "manufacturer: {company: 0xFFFF, data: '01 A0'}, rssi_min: -70 dBm, nearest: 6 dB") + STEPS,
    HEAD + "revision: r3\ncaution: hot\ndeadline: 5 min\n" + STEPS + "finally: [{disconnect: }]\n",
]  # fmt: skip


@pytest.mark.parametrize("text", GOOD)
def test_what_the_loader_takes_is_accepted(text):
    assert plan_of(text)
    assert accepted(text)


BAD = [
    *(text.replace("«", "") for text, message, _ in KEYS_AND_WORDS if message.startswith("unknown key")),
    with_steps("- raed: temperature"),
    with_steps("- read: temperature\n  attempts: two"),
    with_steps("- read: temperature\n  within: 5"),
    with_steps("- scan:\n  mode: activ"),
    with_steps("- read: temperature\n  expect: {value: {max: 8 °C, guard: {rule: ISO 14253, standard: 0.1 K}}}"),
    with_steps("- read: temperature\n  expect: {value: {max: 8 °C, guard: {rule: ISO 14253-1, standart: 0.1 K}}}"),
    with_steps("- discover:\n  expect: {table: {battery: {battery level: [raed]}}}"),
    with_steps("- command: ls"),
    with_steps("- use: part.yaml\n  wiht: {}"),
    HEAD + "steps: {}\n",
    f"device: {{select: {{name: a}}}}\n{STEPS}",
]  # fmt: skip


@pytest.mark.parametrize("text", BAD)
def test_what_the_loader_refuses_is_refused(text):
    assert problems_of(text)
    assert not accepted(text)
