"""Whatever a plan says, written and loaded it is the same plan."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan
from benchrig.plan.writing import PlanText, Rows, StepText
from benchrig.radio.scan import Selection
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.writing import Bare
from benchrig.steps.attribute import AttributeSpec, Uuid

OWN = "6b1d0009-9a53-4c86-8a3e-2f0f6c1d7e40"
OWN_NAMES = {"own": AttributeSpec(uuid=Uuid(OWN), as_="utf8")}
# what YAML, plans and people who read comments give a meaning to
HOSTILE = [
    "${x}",
    "$$",
    "$",
    "a: b",
    "a #b",
    "- a",
    "'",
    '"',
    "\\",
    "no",
    "1e5",
    "a\n- wait: 1 s",
    "\x85",
    "\u2028",
    "{a}",
]
texts = st.sampled_from(HOSTILE) | st.text(max_size=8) | st.text("${}'\"\\#:-[]*0aA\n ", max_size=8)
some = texts.filter(str.strip)
limits = st.one_of(
    texts.map(lambda text: {"equals": text}),
    st.lists(texts, min_size=1, max_size=3).map(lambda items: {"one_of": items}),
    st.integers(0, 99).map(lambda least: {"length": {"min": least}}),
)
selections = st.builds(
    Selection,
    name=some,
    services=st.sampled_from([(), ("0000180f-0000-1000-8000-00805f9b34fb",), (OWN,)]),
    manufacturer=st.none() | st.integers(0, 0xFFFF),
    rssi_min=st.none() | st.integers(-90, 0),
    nearest=st.none() | st.integers(1, 20),
)


@st.composite
def reads(draw: st.DrawFn) -> StepText:
    keys = {"name": draw(some), "format": {"as": "utf8"}}
    step = StepText("read", "own", keys, draw(st.lists(texts, max_size=2)))
    if draw(st.booleans()):
        step.hold("value", draw(limits), draw(texts))
    step.hold("raw", None, draw(texts))
    return step


def written_and_loaded(plan: PlanText, folder: pytest.TempPathFactory) -> Plan:
    path = folder.getbasetemp() / "plan.yaml"
    path.write_text(plan.text, encoding="utf-8")
    return load_plan(path)


def data_of(step: StepPlan) -> Any:
    return plain(substitute(step.node, {}, Room(Problems())))


@settings(max_examples=30)
@given(
    title=some,
    caution=texts,
    selection=selections,
    steps=st.lists(reads(), min_size=1, max_size=3, unique_by=lambda step: step.keys["name"].strip()),
    said=st.lists(texts, max_size=2),
)
def test_what_was_written_is_loaded(
    title: str,
    caution: str,
    selection: Selection,
    steps: list[StepText],
    said: list[str],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    begin = [StepText("scan"), StepText("connect")]
    made = PlanText(title, selection, OWN_NAMES, [*begin, *steps], caution, head=said, reasons=said, foot=said)
    plan = written_and_loaded(made, tmp_path_factory)
    assert (plan.name, plan.caution) == (title.replace("${", "$ {"), caution.replace("${", "$ {").strip())
    assert plan.selection() == selection
    assert plan.names.aliases == OWN_NAMES
    expected = [{"read": "own", **step.keys, **({"expect": step.expect} if step.expect else {})} for step in steps]
    assert [data_of(step) for step in plan.steps[2:]] == expected


def test_rows_and_remarks(tmp_path_factory: pytest.TempPathFactory) -> None:
    table = Rows({"battery": Rows({"battery level": ["read", "notify"]})})
    discover = StepText("discover", keys={"within": Bare("5 s")}, remarks=["as it was"])
    discover.hold("services", {"contains": ["battery"]})
    discover.hold("table", table, "on all units")
    discover.hold("elapsed", None, "no limit")
    steps = [StepText("scan"), StepText("connect"), discover, StepText(remarks=["nothing more"])]
    made = PlanText("p", Selection(name="unit"), {}, steps)
    assert made.text.splitlines()[3:] == [
        "steps:",
        "  - scan:",
        "  - connect:",
        "  # as it was",
        "  - discover:",
        "    within: 5 s",
        "    # elapsed: no limit",
        "    expect:",
        "      services: {contains: [battery]}",
        "      # on all units",
        "      table:",
        "        battery:",
        "          battery level: [read, notify]",
        "  # nothing more",
    ]
    step = written_and_loaded(made, tmp_path_factory).steps[2]
    assert data_of(step)["expect"] == {"services": {"contains": ["battery"]}, "table": table}


def test_a_guard_band(tmp_path_factory: pytest.TempPathFactory) -> None:
    guard = {"rule": "JCGM 106", "expanded": Bare("0.2 K"), "k": Bare("2"), "risk": Bare("5 %")}
    read = StepText("read", "temperature")
    read.hold("value", {"max": Bare("8 °C"), "guard": guard})
    made = PlanText("p", Selection(name="unit"), {}, [StepText("scan"), StepText("connect"), read])
    step = written_and_loaded(made, tmp_path_factory).steps[2]
    assert step.step is not None
    bound = step.step.limits["value"].bind("number", "°C")
    assert (bound.high, bound.stated_high) == (7.8355, 8)


def test_steps_within_steps(tmp_path_factory: pytest.TempPathFactory) -> None:
    look = StepText("read", "own", {"name": "look"}, ["as often as it takes"])
    look.hold("value", {"equals": "${x}"}, "on all units")
    group = StepText("group", "no", parts={"first": [StepText("wait", Bare("1 s"))], "steps": [look]})
    again = StepText(
        "repeat",
        3,
        {"every": Bare("10 s")},
        parts={"steps": [group, StepText("wait", Bare("2 s"), {"name": "${level}"})]},
    )
    again.hold("look.value.spread", None, "no number")
    again.hold("failed", {"max": 1})
    made = PlanText("p", Selection(name="unit"), OWN_NAMES, [StepText("connect"), again])
    assert made.text.splitlines()[made.text.splitlines().index("steps:") :] == [
        "steps:",
        "  - connect:",
        "  - repeat: 3",
        "    every: 10 s",
        "    steps:",
        "      - group: 'no'",
        "        first:",
        "          - wait: 1 s",
        "        steps:",
        "          # as often as it takes",
        "          - read: own",
        "            name: look",
        "            expect:",
        "              # on all units",
        "              value: {equals: '$${x}'}",
        "      - wait: 2 s",
        "        name: '$${level}'",
        "    # look.value.spread: no number",
        "    expect:",
        "      failed: {max: 1}",
    ]
    plan = written_and_loaded(made, tmp_path_factory)
    assert [(step.id, step.name, step.part) for step in plan.steps[1:]] == [
        ("2", "repeat 3 times", ""), ("2.1", "no", "steps"), ("2.1.1", "wait 1 s", "first"), ("2.1.2", "look", "steps"),
        ("2.2", "${level}", "steps"),
    ]  # fmt: skip
    assert data_of(plan.steps[4])["expect"] == {"value": {"equals": "${x}"}}
