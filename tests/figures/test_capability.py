"""Capability and control charts of a reading over a history: what is counted, what is set apart, what is said."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest

from benchrig.errors import UsageError
from benchrig.figures.capability import AgainstLimits, capability_figure, capability_of, numbers_of
from benchrig.figures.chart import MOST, chart_of
from benchrig.history.entry import Entry
from benchrig.history.questions.filters import Filters
from tests.history.questions.kit import entry, history_of

READING = "read voltage.value"
EVERY = Filters()


def runs(values: list[float], begin: int = 0, **more) -> list[Entry]:
    """A unit each."""
    return [
        entry(begin + at, **{"unit": f"U{begin + at}", "readings": {READING: value}, **more})
        for at, value in enumerate(values)
    ]


def sound(count: int, seed: int = 1, mean: float = 5.0) -> list[float]:
    return [float(each) for each in np.random.default_rng(seed).normal(mean, 1, count)]


def about(part: AgainstLimits) -> list[str]:
    return [each.about for each in part.doubts]


def test_the_figure_says_what_it_is_made_of(tmp_path: Path) -> None:
    with history_of(tmp_path, runs(sound(60))) as history:
        found = capability_of(history, READING, EVERY)
    (part,) = found.parts
    assert (found.plan, found.reading, found.measure, found.n) == ("end of line", READING, "V", 60)
    assert (part.low, part.high, part.runs, part.units, part.first_run) == (0, 10, 60, 60, "run-000000")
    assert part.capability is not None
    assert part.capability.overall.ratio is not None
    assert part.capability.overall.ratio.value == pytest.approx(10 / (6 * np.std(sound(60), ddof=1)))
    assert (part.doubts, part.refused) == ([], "")
    assert msgspec.json.decode(msgspec.json.encode(found))["parts"][0]["capability"]["n"] == 60


def test_simulated_partial_and_study_runs_are_not_mixed_in(tmp_path: Path) -> None:
    entries = runs(sound(40)) + runs([100.0] * 5, 100, simulated=True)
    entries += runs([200.0] * 5, 200, left_out=1) + runs([300.0] * 5, 300, study="s", study_unit="U", study_repeat=1)
    with history_of(tmp_path, entries) as history:
        real, simulated = (
            capability_of(history, READING, EVERY),
            capability_of(history, READING, Filters(simulated=True)),
        )
    assert (real.n, real.apart, real.simulated) == (40, 10, False)
    assert (simulated.n, simulated.simulated) == (5, True)


def test_values_against_other_limits_are_a_figure_apart(tmp_path: Path) -> None:
    entries = runs(sound(40)) + runs(sound(30, 2), 40, limits=(1.0, 9.0)) + runs(sound(5, 3), 70)
    entries += runs([1.0, 2.0], 80, limits=(None, 3.0)) + runs([1.0], 90, limits=(None, None))
    with history_of(tmp_path, entries) as history:
        parts = capability_of(history, READING, EVERY).parts
    assert [(part.low, part.high, part.n) for part in parts] == [(0, 10, 45), (1, 9, 30), (None, 3, 2), (None, None, 1)]
    assert parts[2].capability is not None
    assert parts[2].capability.within.ratio is None
    assert parts[3].refused == "expected a limit with a number, found none"


def test_guard_bands_are_the_stations_and_not_the_limits_of_the_process(tmp_path: Path) -> None:
    entries = runs(sound(40))
    for each in entries:
        ((head, _, row),) = each.readings
        each.readings[0] = (head, ("2 to 8", 2.0, 8.0, 0.0, 10.0, "U 2 V"), row)
    with history_of(tmp_path, entries) as history:
        assert [(part.low, part.high) for part in capability_of(history, READING, EVERY).parts] == [(0, 10)]


def test_a_value_on_a_bound_is_where_its_run_had_it(tmp_path: Path) -> None:
    """'above: 0, max: 10' and a guard band that draws in 'min: 0'."""
    plain, guarded = runs([0.0, 10.0, *sound(38)]), runs([0.0, *sound(39)], 50)
    (channel, bound, (*told, _, margin, a, b, c, d)), *others = plain[0].readings
    failed = (channel, bound, (*told, False, margin, a, b, c, d))
    plain[0].readings[:] = [failed, *others]
    guarded[0].readings[:] = [(channel, ("1 to 10", 1.0, 10.0, 0.0, 10.0, "U 1 V"), failed[2])]
    with history_of(tmp_path, plain + guarded) as history:
        (part,) = capability_of(history, READING, EVERY).parts
    assert part.capability is not None
    assert (part.n, part.capability.outside.below, part.capability.outside.above) == (80, 1, 0)


def test_repeats_of_a_unit_and_stations_that_differ_are_doubted(tmp_path: Path) -> None:
    entries = runs(sound(30)) + runs(sound(30, 2, mean=8.0), 30, station="line 2") + runs(sound(3, 3), 60, unit="U1")
    with history_of(tmp_path, entries) as history:
        (part,) = capability_of(history, READING, EVERY).parts
    says = {each.about: each.says for each in part.doubts}
    assert says["repeated units"] == "found 63 values of 60 units: the intervals hold for one value of each unit"
    assert says["groups differ"] == "stations differ: one figure over them describes none"
    assert part.units == 60


def test_text_is_refused_and_so_is_what_no_run_has(tmp_path: Path) -> None:
    with history_of(tmp_path, runs(["abc", "abd"])) as history:  # type: ignore[list-item]
        with pytest.raises(UsageError, match="is text, or a stream: expected a number, found 2 readings without one"):
            capability_of(history, READING, EVERY)
        with pytest.raises(UsageError, match="no reading"):
            capability_of(history, "read voltage.valeu", EVERY)


def test_subgroups(tmp_path: Path) -> None:
    # 20 days of three units, and one day with a single one; the level of each day is another
    entries = [
        entry(number, unit=f"U{number}", minutes=1440 * (number // 3) + number % 3,
              readings={READING: 5 + (number // 3) % 4 + (0.0, 0.3, 0.6)[number % 3]}, limits=(0.0, 12.0))
        for number in range(61)
    ]  # fmt: skip
    with history_of(tmp_path, entries) as history:
        by_day = capability_of(history, READING, EVERY, subgroup="day").parts[0].capability
        neighbours = capability_of(history, READING, EVERY).parts[0].capability
        chart = chart_of(history, READING, EVERY, subgroup="day")
        in_fives = chart_of(history, READING, EVERY, subgroup="5")
        with pytest.raises(UsageError, match="expected subgroups by hour, day"):
            chart_of(history, READING, EVERY, subgroup="week")
        with pytest.raises(UsageError, match="2 subgroups or more"):
            chart_of(history, READING, EVERY, subgroup="unit")
    assert by_day is not None
    assert neighbours is not None
    assert (by_day.within.spread.method, by_day.within.spread.freedom) == ("pooled by subgroup", 40)
    assert by_day.within.spread.sd.value == pytest.approx(0.3)
    assert neighbours.within.spread.sd.value > 0.3
    assert (len(chart.points), chart.too_small, chart.n, chart.spread) == (20, 1, 60, "range")
    assert (chart.points[0].name, chart.points[0].run_id, chart.points[0].size) == ("2026-11-02", "run-000002", 3)
    assert chart.points[0].spread == pytest.approx(0.6)
    assert any("Nelson 1" in point.rules for point in chart.points)
    assert [point.size for point in in_fives.points] == [5] * 12
    assert in_fives.too_small == 1


def test_a_chart_names_the_runs_behind_its_signals(tmp_path: Path) -> None:
    values = [*sound(50), 25.0, *sound(20, 2)]
    with history_of(tmp_path, runs(values)) as history:
        chart = chart_of(history, READING, EVERY)
        western = chart_of(history, READING, EVERY, rules="western electric")
    first = chart.fired[0]
    assert (first.rule, first.count, first.runs) == ("Nelson 1", 1, ["run-000050"])
    assert western.fired[0].rule == "Western Electric 1"
    point = chart.points[50]
    assert (point.value, point.unit, point.spread_beyond) == (25, "U50", True)
    assert "Nelson 1" in point.rules
    assert (chart.spread_beyond, chart.points[0].spread, chart.low_limit, chart.high_limit) == (2, None, 0, 10)
    assert chart.lines is not None
    assert chart.lines.centre == pytest.approx(np.mean(values))


def test_a_long_chart_lists_its_last_points_and_counts_all(tmp_path: Path) -> None:
    values = sound(MOST + 200)
    values[3] = 30.0
    with history_of(tmp_path, runs(values)) as history:
        chart = chart_of(history, READING, EVERY)
    assert (len(chart.points), chart.left_out, chart.n) == (MOST, 200, MOST + 200)
    assert (chart.fired[0].count, chart.fired[0].runs[0]) == (3, "run-000003")  # which is not listed
    assert chart.points[-1].run_id == f"run-{MOST + 199:06}"


def test_one_value_makes_no_chart(tmp_path: Path) -> None:
    with history_of(tmp_path, runs([1.0])) as history:
        with pytest.raises(UsageError, match="expected 2 values or more, found 1"):
            chart_of(history, READING, EVERY)
        assert capability_of(history, READING, EVERY).parts[0].refused == "expected 2 values or more, found 1"


def test_the_risks_of_a_test_under_its_guard_band(tmp_path: Path) -> None:
    """Cp 1, u a tenth of the tolerance by six: the consumer's and the producer's risk of JCGM 106, as in tests/study/test_risks.py."""
    spread = [float(each) for each in np.random.default_rng(3).normal(0, 1, 500)]
    mean, sd = np.mean(spread), np.std(spread, ddof=1)
    seen = np.hypot(10 / 6, 1 / 6)  # of the units, and of the readings
    values = [5 + (each - mean) / sd * seen for each in spread]
    entries = runs(values)
    for each in entries:
        ((head, _, row),) = each.readings
        each.readings[0] = (head, ("guarded", 1 / 3, 10 - 1 / 3, 0.0, 10.0, "U 0.33 V"), row)
    with history_of(tmp_path, entries) as history:
        figure = capability_figure(numbers_of(history, READING, EVERY), uncertainty=1 / 3).parts[0]
        wide = capability_figure(numbers_of(history, READING, EVERY), uncertainty=4.0).parts[0]
    assert figure.risk is not None
    found = figure.risk.risks
    assert (figure.risk.guard, figure.risk.unit_sd) == pytest.approx((1 / 3, 10 / 6))
    assert [1e6 * each for each in (found.bad, found.consumer, found.producer)] == pytest.approx(
        [2699.80, 6.819, 2641.60], rel=1e-4
    )
    assert wide.risk is None
    assert wide.no_risk.startswith("expected a standard uncertainty above 0 and below the deviation of all values")


def test_runs_without_a_value_and_versions_of_the_plan_are_counted(tmp_path: Path) -> None:
    entries = runs(sound(30)) + runs(sound(5, 2), 30, plan_hash="cd" * 32)
    entries += [entry(40 + at, unit=f"D{at}", verdict="fail", cause="link") for at in range(4)]
    entries += [entry(50, unit="O", plan="another", readings={"a.b": 1}), entry(51, unit="P", left_out=1)]
    with history_of(tmp_path, entries) as history:
        figure = capability_of(history, READING, EVERY)
    assert (figure.n, figure.without, figure.versions, figure.apart) == (35, 4, 2, 1)
