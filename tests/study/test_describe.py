"""Means and standard deviations against certified values: NIST, Statistical Reference Datasets, univariate summary
statistics (a work of the US government; `strd_univ.json` has the data and the certified values)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchrig.study.describe import describe
from benchrig.study.estimate import Unsuitable

SETS: dict[str, Any] = json.loads(Path(__file__).with_name("strd_univ.json").read_text("utf-8"))
# The values of these are not floats: each is up to half a last digit away from what is certified.
ROUNDED = {"numacc3": 1e-9, "numacc4": 1e-8}


def data(name: str) -> list[float]:
    """Of three sets there is the rule: b.2, then 500 times b.1 and b.3."""
    words = SETS[name]["data"]
    if isinstance(words, str):
        whole = SETS[name]["mean"].partition(".")[0]
        words = [f"{whole}.2"] + [f"{whole}.1", f"{whole}.3"] * 500
    return [float(word) for word in words]


@pytest.mark.parametrize("name", SETS)
def test_certified_values(name: str) -> None:
    one = SETS[name]
    found = describe(data(name))
    assert found.n == one["n"]
    assert found.mean == pytest.approx(float(one["mean"]), rel=2e-15)
    assert found.sd == pytest.approx(float(one["sd"]), rel=ROUNDED.get(name, 1e-12))
    assert found.lag1 == pytest.approx(float(one["lag1"]), rel=ROUNDED.get(name, 1e-12))


def test_one_value_and_none() -> None:
    one = describe([2.5])
    assert (one.n, one.mean, one.sd, one.lag1, one.distinct) == (1, 2.5, 0, None, 1)
    with pytest.raises(Unsuitable, match="expected 1 value or more"):
        describe([])
    with pytest.raises(Unsuitable, match="found 2 that are not"):
        describe([1, float("nan"), float("-inf")])
