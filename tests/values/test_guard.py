"""Guard bands: acceptance limits, their sentences, and what cannot be drawn in.

Check values: conformance probability of readings on the acceptance limit for g = r U, worked from the standard normal
distribution as JCGM 106:2012, 7.4 and 8.3, has it; the example 3.300 V with U 0.020 V likewise.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from benchrig.source.problem import Problems
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import read_text
from benchrig.values.judging import BoundLimit, Kind
from benchrig.values.limit import ReadingLimit
from benchrig.values.rising import for_stream

ISO = "guard: {rule: ISO 14253-1, expanded: 0.2 K, k: 2}"


def read(text: str) -> tuple[Any, list[str]]:
    problems = Problems()
    node = read_text(text, "test.yaml", problems)
    assert node is not None
    return Reader(problems).read(node, ReadingLimit), [each.message for each in problems.found]


def bound(text: str, unit: str = "°C", kind: Kind = "number") -> BoundLimit:
    limit, problems = read(f"{{{text}}}")
    assert not problems
    return limit.bind(kind, unit)  # type: ignore[no-any-return]


def test_a_limit_is_drawn_in_and_both_are_told() -> None:
    limit = bound(f"min: 2 °C, max: 8 °C, {ISO}")
    assert (limit.low, limit.high, limit.stated_low, limit.stated_high) == (2.2, 7.8, 2, 8)
    judged = limit.judge(7.9, "plan.yaml:3")
    assert (judged.passed, judged.low, judged.high, judged.stated_low, judged.stated_high, judged.guard, judged.margin) == (
        False, 2.2, 7.8, 2, 8, "ISO 14253-1, U 0.2 °C", -0.1,
    )  # fmt: skip
    assert judged.sentence == (
        "7.9 °C is not shown to conform: above the acceptance limit 7.8 °C by 0.1 °C, of 8 °C by ISO 14253-1, U 0.2 °C"
    )
    assert limit.judge(2.1).sentence.startswith("2.1 °C is not shown to conform: below the acceptance limit 2.2 °C")
    words = "acceptance limits 2.2 °C to 7.8 °C by ISO 14253-1, U 0.2 °C"
    assert limit.judge(8.1).sentence == f"8.1 °C is above the maximum 8 °C by 0.1 °C; {words}"
    on_it = limit.judge(7.8)
    assert (on_it.passed, on_it.margin, on_it.sentence) == (
        True,
        0,
        f"7.8 °C satisfies: min 2 °C and max 8 °C and {words}",
    )
    assert not limit.judge("not known").passed


@pytest.mark.parametrize(
    ("text", "unit", "low", "high"),
    [
        (f"nominal: 5 °C, tolerance: 3 K, {ISO}", "°C", 2.2, 7.8),
        (f"above: 2 °C, {ISO}", "°C", 2.2, None),
        (f"max: 8 °C, differs: 3 °C, {ISO}", "°C", None, 7.8),
        ("max: 8 °C, guard: {rule: ISO 14253-1, expanded: 0.36 °F, k: 2}", "°C", None, 7.8),
        ("max: 8 °C, guard: {rule: ISO 14253-1, expanded: 0.3 K, k: 3}", "°C", None, 7.8),
        ("max: 8 °C, guard: {rule: ISO 14253-1, standard: 0.1 K}", "°C", None, 7.8),
        ("min: -60 dBm, guard: {rule: ISO 14253-1, standard: 0.5 dB}", "dBm", -59, None),
        ("max: 10, guard: {rule: ISO 14253-1, standard: 1}", "", None, 8),
        ("max: 3.3 V, guard: {rule: JCGM 106, expanded: 20 mV, k: 2, risk: 5 %}", "V", None, 3.28355),
        ("max: 3.3 V, guard: {rule: JCGM 106, standard: 10 mV, risk: 2.275 %}", "V", None, 3.27999),
    ],
)
def test_acceptance_limits(text: str, unit: str, low: Any, high: Any) -> None:
    limit = bound(text, unit)
    assert (limit.low, limit.high) == (low, high)


def test_an_open_bound_stays_open() -> None:
    limit = bound(f"below: 8 °C, {ISO}")
    assert [limit.passes(value) for value in (7.79, 7.8)] == [True, False]
    assert limit.judge(7.8).sentence.startswith(
        "7.8 °C is not shown to conform: not below the acceptance limit 7.8 °C, of"
    )


def test_every_item_of_a_list_and_every_sample_of_a_stream() -> None:
    limit = bound("max: 10, guard: {rule: ISO 14253-1, standard: 1}", "", "list")
    assert [limit.passes(value) for value in ([1, 8], [1, 9], [])] == [True, False, False]
    assert limit.judge([9, 9.5, 1]).sentence.startswith("9.5 is not shown to conform")
    stream = for_stream(bound(f"max: 8 °C, rising: true, {ISO}"))
    assert [stream.passes(value) for value in (1, 2, 7.9)] == [True, True, False]


@given(st.integers(-1000, 1000), st.integers(1, 200), st.integers(1, 40), st.sampled_from([1, 5, 20]))
def test_a_reading_that_passes_conforms_with_the_probability_that_was_asked_for(low, width, u, risk) -> None:
    text = f"min: {low}, max: {low + width}, guard: {{rule: JCGM 106, standard: {u}, risk: {risk} %}}"
    limit, _ = read(f"{{{text}}}")
    surely = norm.cdf(width / 2 / u) - norm.cdf(-width / 2 / u)
    try:
        found = limit.bind("number")
    except Misfit:
        # not even the middle conforms so surely, or next to nothing does
        assert surely < 1 - risk / 100 + 0.01
        return
    for edge in (found.low, found.high):
        conforms = norm.cdf((low + width - edge) / u) - norm.cdf((low - edge) / u)
        assert 1 - risk / 100 - 1e-9 <= conforms
    assert found.low - low == pytest.approx(low + width - found.high), "both limits are drawn in alike"


# --- what cannot be

NO_SENSE = {
    f"{{equals: 5 °C, {ISO}}}": ["guard without a bound to draw in", "guard and equals exclude each other"],
    f"{{max: 5 °C, confidence: 95 %, {ISO}}}": ["guard and confidence exclude each other"],
    "{max: 5, guard: {rule: ISO 14253-1}}": ["a guard band has one uncertainty, this one has no uncertainty"],
    "{max: 5, guard: {rule: ISO 14253-1, expanded: 1, k: 2, standard: 1}}": [
        "a guard band has one uncertainty, this one has two uncertainties"
    ],
    "{max: 5, guard: {rule: ISO 14253-1, expanded: 1}}": ["expanded without k"],
    "{max: 5, guard: {rule: ISO 14253-1, standard: 1, k: 2}}": ["k without expanded"],
    "{max: 5, guard: {rule: ISO 14253-1, expanded: 1, k: 20}}": ["expected a k of 1 to 10, found 20"],
    "{max: 5, guard: {rule: ISO 14253-1, standard: 1, risk: 5 %}}": [
        "ISO 14253-1 takes no risk: its guard band is as wide as U"
    ],
    "{max: 5, guard: {rule: JCGM 106, standard: 1}}": ["JCGM 106 without a risk"],
    "{max: 5, guard: {rule: JCGM 106, standard: 1, risk: 50 %}}": ["expected a risk above 0 % and below 50 %, found 50 %"],
    "{max: 5, guard: {rule: ISO 14253, standard: 1}}": [
        "expected one of ISO 14253-1, JCGM 106; found the text 'ISO 14253'"
    ],
}  # fmt: skip


@pytest.mark.parametrize("text", NO_SENSE)
def test_what_no_reading_can_have(text: str) -> None:
    assert read(text)[1] == NO_SENSE[text]


@pytest.mark.parametrize(
    ("text", "kind", "unit", "message"),
    [
        ("max: 8 °C, guard: {rule: ISO 14253-1, standard: 1 V}", "number", "°C", "1 V is a voltage, not a difference of temperature"),
        ("max: 8 °C, guard: {rule: ISO 14253-1, standard: 1}", "number", "°C", "1 has no unit; the reading is measured in °C"),
        ("max: 8, guard: {rule: ISO 14253-1, standard: 1 K}", "number", "", "1 K has a unit, the reading has none"),
        ("max: -60 dBm, guard: {rule: ISO 14253-1, standard: 1 dBm}", "number", "dBm", "an uncertainty of a level is a difference, found 1 dBm"),
        ("max: 8 °C, guard: {rule: ISO 14253-1, standard: 0 K}", "number", "°C", "expected an uncertainty above 0, found 0 K"),
        ("min: 2 °C, max: 3 °C, guard: {rule: ISO 14253-1, standard: 0.25 K}", "number", "°C",
         "by ISO 14253-1, U 0.5 °C the guard bands leave nothing between 2 °C and 3 °C"),
        ("min: 0, max: 1, guard: {rule: JCGM 106, standard: 1, risk: 5 %}", "number", "",
         "by JCGM 106, u 1, risk 5 % the guard bands leave nothing between 0 and 1"),
        ("max: '2026-12-25T14:05:30', guard: {rule: ISO 14253-1, standard: 1 s}", "time", "", "guard applies to numbers only"),
    ],
)  # fmt: skip
def test_what_this_reading_cannot_have(text: str, kind: Kind, unit: str, message: str) -> None:
    limit, problems = read(f"{{{text}}}")
    assert not problems
    [misfit] = limit.misfits_for(kind, unit)
    assert (misfit.message, misfit.path[:1]) == (message, ("guard",))


@pytest.mark.parametrize("key", ["guard", "confidence"])
def test_an_empty_key_is_a_slip_and_not_a_limit_that_asks_for_less(key: str) -> None:
    [problem] = read(f"{{max: 8 °C, {key}: }}")[1]
    assert problem.endswith("found nothing")


def test_what_is_no_bound_is_said_in_words() -> None:
    limit, _ = read("{length: {max: 80}, crc: CRC-16/KERMIT, lacks: ASSERT}")
    assert limit.in_words == "lacks 'ASSERT' and crc CRC-16/KERMIT and length max 80"
    assert read("{length: {min: 3, max: }}")[1] == ["expected a length, found a mapping"]
