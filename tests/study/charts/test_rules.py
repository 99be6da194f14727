"""Run rules: for each a sequence that fires it and no other, and sequences that must stay silent."""

from __future__ import annotations

import numpy as np
import pytest

from benchrig.study.charts.rules import RULES, RuleSet, signals

# Nelson, Journal of Quality Technology 16 (1984), tests 1 to 8: points in standard deviations, and where the rule fires.
ONLY = [
    ("Nelson 1", ".5 -.5 3.1 -.4 .3", 2),
    ("Nelson 2", ".5 1.2 .3 .8 1.5 .2 .9 .4 .7", 8),
    ("Nelson 3", "-1.5 -.9 -.2 .4 .8 1.4", 5),
    ("Nelson 4", ".5 -.5 .6 -.6 1.2 -1.2 .4 -.4 .7 -.7 .3 -.3 .8 -.8", 13),
    ("Nelson 5", ".2 2.3 -.5 2.4 .1", 3),
    ("Nelson 6", "1.2 1.5 -.3 1.8 1.1", 4),
    ("Nelson 7", ".2 .3 -.4 -.1 .6 .5 -.7 -.2 .1 .8 -.3 -.6 .4 .3 -.5", 14),
    ("Nelson 8", "1.5 1.2 -1.4 -1.8 1.3 1.6 -1.2 -1.7", 7),
]


def fired(points: list[float], rules: RuleSet = "nelson") -> dict[str, tuple[int, ...]]:
    return {each.rule: each.at for each in signals(points, rules)}


@pytest.mark.parametrize(("rule", "text", "at"), ONLY)
def test_each_sequence_fires_its_rule_only(rule: str, text: str, at: int) -> None:
    points = [float(word) for word in text.split()]
    assert fired(points) == {rule: (at,)}
    assert fired([-each for each in points]) == {rule: (at,)}
    assert fired(points[:at]) == {}


# Western Electric (1956): 1 is Nelson 1, 2 is Nelson 5, 3 is Nelson 6, 4 is eight points on one side.
def test_western_electric() -> None:
    eight = [0.4, 0.9, 0.2, 1.3, 0.5, 0.1, 0.8, 0.6]
    assert fired(eight, "western electric") == {"Western Electric 4": (7,)}
    assert fired(eight) == {}
    for number, at in ((1, 0), (2, 4), (3, 5)):
        points = [float(word) for word in ONLY[at][1].split()]
        assert fired(points, "western electric") == {f"Western Electric {number}": (ONLY[at][2],)}


@pytest.mark.parametrize("text", ["3.0 -3.0 0", "2.0 .1 2.0", ".5 .6 .7 .4 0 .8 .5 .6 .7", "-1 -.5 -.5 .1 .4 .8"])
def test_points_on_a_line_and_equal_ones_are_silent(text: str) -> None:
    points = [float(word) for word in text.split()]
    assert fired(points) == {}
    assert fired(points, "western electric") == {}


def test_one_side_beyond_one_deviation_is_not_rule_8() -> None:
    points = [1.2, 1.5, 1.1, 1.3, 1.6, 1.2, 1.4, 1.7]
    assert set(fired(points)) == {"Nelson 6"}
    assert set(fired(points, "western electric")) == {"Western Electric 3", "Western Electric 4"}


def test_rules_are_as_rare_as_chance_makes_them() -> None:
    """Independent points: the exact chances of the first and the second rule; all others are rare as well."""
    z = np.random.default_rng(1).normal(size=250_000)
    counts = {each.rule: len(each.at) for each in signals(z)}
    assert counts["Nelson 1"] == pytest.approx(675, rel=0.12)
    assert counts["Nelson 2"] == pytest.approx(2 * 0.5**9 * 250_000, rel=0.12)
    assert set(counts) == {rule.name for rule in RULES["nelson"]}
    assert max(counts.values()) < 1500


def test_no_points() -> None:
    assert signals([]) == ()
