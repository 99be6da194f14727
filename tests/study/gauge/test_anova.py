"""Analysis of variance of gauge studies: published figures, statsmodels as a referee, coverage by simulation."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.anova import Anova, anova
from benchrig.study.gauge.crossed import Crossed, crossed
from tests.study.gauge.data import aiag, gaugerr, of


def row(found: Anova, source: str) -> tuple[float, int]:
    line = next(line for line in found.table if line.source == source)
    return line.sum_of_squares, line.freedom


# AIAG, Measurement Systems Analysis, 4th edition (2010), tables A 1 and A 3; recomputed to more digits.
def test_the_aiag_study_is_pooled() -> None:
    found = anova(aiag())
    assert row(found, "appraiser") == (pytest.approx(3.16726, abs=5e-6), 2)
    assert row(found, "unit") == (pytest.approx(88.36193, abs=5e-6), 9)
    assert row(found, "interaction") == (pytest.approx(0.35898, abs=5e-6), 18)
    assert row(found, "repeatability") == (pytest.approx(2.75893, abs=5e-6), 60)
    assert row(found, "total") == (pytest.approx(94.64711, abs=5e-6), 89)
    interaction = found.table[2]
    assert (interaction.f, interaction.p) == (pytest.approx(0.4337, abs=5e-5), pytest.approx(0.974, abs=5e-4))
    assert found.pools
    pooled = found.chosen
    assert pooled is found.pooled
    named = [pooled.repeatability, pooled.appraiser, pooled.gauge, pooled.unit, pooled.total]
    variances = [0.039973, 0.051455, 0.091429, 1.086447, 1.177875]
    assert [each.variance.value for each in named if each] == pytest.approx(variances, abs=1e-6)
    sds = [0.199933, 0.226838, 0.302372, 1.042327, 1.085300]
    assert [each.sd.value for each in named if each] == pytest.approx(sds, abs=1e-6)
    assert pooled.gauge.of_total is not None
    assert pooled.gauge.of_total.value == pytest.approx(0.2786, abs=5e-5)
    assert (pooled.ndc, pooled.ndc_exact) == (4, pytest.approx(4.86, abs=5e-3))


# Variances with their 95 % intervals by modified large samples: those of the R package gaugerr for its data, and the same
# formulas over the AIAG study. gaugerr prints 166.220693 for the upper end of the total, where one factor is not squared.
MLS = {
    "repeatability": [(0.511111, 0.368158, 0.757543), (0.045982, 0.033121, 0.068153)],
    "unit": [(48.292593, 22.694519, 161.639184), (1.088672, 0.513946, 3.633468)],
    "appraiser": [(0.564609, 0.072962, 25.750770), (0.052123, 0.013615, 2.084275)],
    "interaction": [(0.727984, 0.332725, 1.792720), (-0.008680, -0.016640, 0.000092)],
    "gauge": [(1.803704, 1.206226, 27.017239), (0.089426, 0.049921, 2.121707)],
    "total": [(50.096296, 24.488435, 166.222173), (1.178098, 0.601975, 4.434869)],
}


@pytest.mark.parametrize("name", MLS)
@pytest.mark.parametrize(("data", "column"), [(gaugerr(), 0), (aiag(), 1)])
def test_intervals_of_the_variances(name: str, data: Crossed, column: int) -> None:
    component = getattr(anova(data).kept, name)
    found = component.variance
    assert (found.value, found.low, found.high) == pytest.approx(MLS[name][column], abs=1e-6)
    if column == 0:  # all are above 0
        assert component.sd.value == pytest.approx(found.value**0.5)


@pytest.mark.parametrize(
    ("data", "expected"),
    [(gaugerr(), (0.036005, 0.009380, 0.371515)), (aiag(), (0.075907, 0.018217, 0.665411))],
)
def test_the_part_of_the_gauge(data: Crossed, expected: tuple[float, float, float]) -> None:
    """As variances are computed; the part that is told counts an interaction below 0 as 0."""
    kept = anova(data).kept
    share = kept.gauge.of_total
    assert share is not None
    assert share.low is not None
    assert share.high is not None
    part = kept.gauge.variance.value / kept.total.variance.value
    assert (part, share.low**2, share.high**2) == pytest.approx(expected, abs=1e-6)
    assert kept.interaction is not None
    beyond = max(0.0, -kept.interaction.variance.value)
    counted = (kept.gauge.variance.value + beyond) / (kept.total.variance.value + beyond)
    assert share.value**2 == pytest.approx(counted, abs=1e-6)


def test_the_gaugerr_study_keeps_its_interaction() -> None:
    found = anova(gaugerr(), tolerance=50)
    sums = [(3935.9556, 9), (39.2667, 2), (48.5111, 18), (30.6667, 60), (4054.4, 89)]
    assert [(line.sum_of_squares, line.freedom) for line in found.table] == [
        (pytest.approx(total, abs=5e-5), freedom) for total, freedom in sums
    ]
    assert [line.f for line in found.table[:3]] == pytest.approx([162.27, 7.285, 5.273], abs=5e-3)
    assert (found.pools, found.chosen.model) == (False, "interaction kept")
    gauge = found.chosen.gauge
    assert gauge.of_tolerance is not None
    assert gauge.of_tolerance.value == pytest.approx(6 * 1.803704**0.5 / 50, abs=1e-6)
    both = found.chosen.reproducibility
    assert both is not None
    assert both.variance.value == pytest.approx(0.564609 + 0.727984, abs=2e-6)
    assert msgspec.json.decode(msgspec.json.encode(found))["kept"]["gauge"]["sd"]["value"] == gauge.sd.value


@pytest.mark.slow  # statsmodels takes long to import
@pytest.mark.parametrize("data", [aiag(), gaugerr()])
def test_statsmodels_has_the_same_table(data: Crossed) -> None:
    import pandas as pd  # type: ignore[import-untyped]
    from statsmodels.formula.api import ols  # type: ignore[import-untyped]
    from statsmodels.stats.anova import anova_lm  # type: ignore[import-untyped]

    values = np.array(data.values)
    at = np.indices(values.shape).reshape(3, -1)
    frame = pd.DataFrame({"value": values.ravel(), "unit": at[0], "appraiser": at[1]})
    table = anova_lm(ols("value ~ C(unit) * C(appraiser)", frame).fit())
    assert [line.sum_of_squares for line in anova(data).table[:4]] == pytest.approx(list(table["sum_sq"]), rel=1e-9)
    # it tests the interaction against the error, as we do
    assert anova(data).table[2].p == pytest.approx(table["PR(>F)"].iloc[2], rel=1e-9)


def test_an_offset_costs_no_digits() -> None:
    far = of([[[1e7 + value for value in cell] for cell in unit] for unit in gaugerr().values])
    assert [line.sum_of_squares for line in anova(far).table] == pytest.approx(
        [line.sum_of_squares for line in anova(gaugerr()).table], rel=1e-12
    )


def test_one_appraiser_has_no_reproducibility() -> None:
    found = anova(of([[[unit[0][0], unit[0][1], unit[0][2]]] for unit in aiag().values]), tolerance=2)
    only = found.chosen
    assert only.model == "one appraiser"
    assert (only.reproducibility, only.appraiser, only.interaction, found.pooled) == (None, None, None, None)
    assert only.gauge == only.repeatability
    assert [line.source for line in found.table] == ["unit", "repeatability", "total"]
    assert only.total.variance.value == pytest.approx(only.gauge.variance.value + only.unit.variance.value)


def test_values_without_variation_are_said_to_be_too_coarse() -> None:
    flat = anova(of([[[1.0, 1.0]] * 2] * 2))
    assert (flat.chosen.ndc, flat.chosen.gauge.of_total) == (None, None)
    assert any("resolution is too coarse" in note for note in flat.chosen.notes)
    coarse = anova(of([[[float(unit)] * 2] * 2 for unit in range(3)]))
    assert (coarse.chosen.ndc, coarse.chosen.gauge.sd.value) == (None, 0)
    assert any("resolution is too coarse" in note for note in coarse.chosen.notes)
    single = anova(of([[[float(unit)] * 2] for unit in range(3)]))
    assert any("resolution is too coarse" in note for note in single.chosen.notes)


def test_a_tolerance_is_above_0() -> None:
    with pytest.raises(Unsuitable, match="expected a tolerance above 0, found 0"):
        anova(aiag(), tolerance=0)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("model", "appraiser", "interaction"),
    [("kept", 0.5, 0.3), ("kept", 0.1, 0.0), ("kept", 1.0, 1.0), ("pooled", 0.5, 0.0)],
)
def test_intervals_cover_as_often_as_they_say(model: str, appraiser: float, interaction: float) -> None:
    """Own simulation: 1500 studies of 8 units, 4 appraisers, 3 repeats; each model where it is the true one."""
    chance = np.random.default_rng(3)
    variance = appraiser**2 + interaction**2 + 0.4**2
    truth = {"gauge": variance, "unit": 4.0, "total": variance + 4.0, "repeatability": 0.16}
    kept = dict.fromkeys([*truth, "share"], 0)
    for _ in range(1500):
        values = chance.normal(0, 2, (8, 1, 1)) + chance.normal(0, appraiser, (1, 4, 1))
        values = values + chance.normal(0, interaction, (8, 4, 1)) + chance.normal(0, 0.4, (8, 4, 3))
        found = getattr(anova(of(values.tolist())), model)
        for name, each in truth.items():
            ends = getattr(found, name).variance
            kept[name] += ends.low <= each <= ends.high
        share = found.gauge.of_total
        assert share is not None
        kept["share"] += share.low**2 <= variance / (variance + 4) <= share.high**2
    assert all(0.925 <= count / 1500 <= 0.999 for count in kept.values()), kept


def test_a_negative_component_makes_the_gauge_no_better() -> None:
    """Two appraisers who agree better than the repeats of one let expect: their computed variance is below 0."""
    cells = {
        ("A", "x"): [20.34, 20.36], ("A", "y"): [20.38, 20.41], ("B", "x"): [21.4, 21.52], ("B", "y"): [21.4, 21.52],
        ("C", "x"): [21.35, 21.34], ("C", "y"): [21.30, 21.32],
    }  # fmt: skip
    found = anova(crossed(cells, ["A", "B", "C"], ["x", "y"], 2), 100)
    for model in (found.kept, found.pooled):
        assert model is not None
        assert model.appraiser is not None
        assert model.appraiser.variance.value < 0 == model.appraiser.sd.value
        assert model.gauge.variance.value < model.repeatability.variance.value
        assert model.gauge.sd.value == model.repeatability.sd.value
        assert model.total.sd.value == pytest.approx((model.gauge.sd.value**2 + model.unit.sd.value**2) ** 0.5)
        assert model.gauge.of_total is not None
        assert model.repeatability.of_total is not None
        assert model.gauge.of_total.value == model.repeatability.of_total.value
        assert model.notes[0].startswith("computed variance of appraiser is negative")
