"""What the reference says of capability and control charts, against the code; its commands are run."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest

from benchrig.cli.capability import _RULES, capability
from benchrig.cli.line_drift import drift
from benchrig.figures.capability import AgainstLimits, CapabilityFigure
from benchrig.figures.chart import ChartFigure, Point, RuleFired
from benchrig.figures.drift import Check, DriftFigure, DriftOfSlot
from benchrig.figures.risk import RiskFigure
from benchrig.history.questions.words import SUBGROUPS
from benchrig.study.capability.capability import Capability
from benchrig.study.capability.doubts import About
from benchrig.study.capability.indices import Indices
from benchrig.study.capability.spread import Sd
from benchrig.study.charts.rules import RULES
from benchrig.study.estimate import Estimate
from benchrig.study.risks import Risks
from tests.cli.calling import call
from tests.history.questions.kit import entry, history_of
from tests.reference import EXAMPLES, SECTIONS, words


def test_the_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    runs = [
        entry(n, unit=f"U{n}", readings={"read temperature.value": 20 + n % 7}, station="line 2", simulated=True)
        for n in range(40)
    ]
    history_of(tmp_path, runs).close()
    monkeypatch.setenv("BENCHRIG_HISTORY", str(tmp_path / "history.sqlite"))
    [commands] = [each.text.splitlines() for each in EXAMPLES if each.section == "Capability" and each.kind == "sh"]
    for line in commands:
        told = call(*shlex.split(line)[1:])
        assert told.exit_code == 0, (line, told.output)
        assert "SIMULATED" in told.stdout or '"simulated": true' in told.stdout


def test_the_options_and_their_words() -> None:
    rows = {words(row["option"])[0].partition(" ")[0]: row["means"] for row in SECTIONS["Capability"].table("option")}
    own = {name for each in capability.params for name in each.opts if name.startswith("--")}
    assert set(rows) < own
    assert {"--subgroup", "--of", "--uncertainty", "--rules", "--json"} == set(rows)
    assert words(rows["--subgroup"]) == [*SUBGROUPS]
    assert words(rows["--rules"]) == [*_RULES] == [*RULES]


def test_the_doubts() -> None:
    assert {row["doubt"] for row in SECTIONS["Doubts of a capability"].table("doubt")} == {*get_args(About)}


def test_the_rules() -> None:
    told = {}
    for row in SECTIONS["Run rules"].table("Nelson"):
        for name in ("Nelson", "Western Electric"):
            if row[name] != "–":
                told[f"{name} {row[name]}"] = row["fires at"]
    rules = {rule.name: rule.says for each in RULES.values() for rule in each}
    assert {name: re.sub(r"^a point", "1 point", says) for name, says in told.items()} == rules


def test_the_drift() -> None:
    rows = {words(row["option"])[0].partition(" ")[0] for row in SECTIONS["Drift of golden units"].table("option")}
    own = {name for each in drift.params for name in each.opts if name.startswith("--")}
    assert rows == own - {"--history"}
    told = {*words(SECTIONS["JSON of drift"].text)}
    assert {*DriftFigure.__struct_fields__, *DriftOfSlot.__struct_fields__, *Check.__struct_fields__} <= told


@pytest.mark.parametrize(
    "kind",
    [
        CapabilityFigure,
        AgainstLimits,
        Capability,
        Indices,
        Sd,
        Estimate,
        ChartFigure,
        Point,
        RuleFired,
        RiskFigure,
        Risks,
    ],
)
def test_the_keys(kind: Any) -> None:
    fields = kind.__struct_fields__ if issubclass(kind, msgspec.Struct) else kind.__dataclass_fields__
    assert {*fields} <= {*words(SECTIONS["JSON of capability"].text)}
