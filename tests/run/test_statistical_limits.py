"""Limits with a confidence and sequential tests in whole plans: which units pass, what is said, what `check` refuses."""

from __future__ import annotations

import csv
import io

import pytest

from benchrig.errors import PlanError
from benchrig.plan.remarks import hints
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.study.proportion import interval
from benchrig.study.sequential import Sequential, characteristic
from tests.plan.building import plan_of
from tests.run.kit import Ran, device_text, plan_text, run

SEQUENTIAL = "sequential: {acceptable: 5 %, rejectable: 20 %, producer_risk: 5 %, consumer_risk: 10 %}"


def unit(*sometimes: str) -> str:
    """A unit whose battery level is read otherwise at some times."""
    conduct = f"\n    on_read: {{sometimes: [{', '.join(sometimes)}]}}" if sometimes else ""
    return device_text(
        "services:\n- service: battery\n  characteristics:\n  - characteristic: battery level\n"
        f"    properties: [read]\n    value: {{noise: {{mean: 75 %, sd: 8 %}}}}{conduct}"
    )


def repeat(rounds: object, expect: str = "", *, more: str = "", step: str = "read: battery level") -> str:
    keys = [f"repeat: {rounds}", "name: series", more, f"steps: [{{{step}, name: look}}]", f"expect: {{{expect}}}"]
    return plan_text("  - " + "\n    ".join(key for key in keys if key) + "\n")


def judged(ran: Ran, name: str) -> tuple[bool, str]:
    judgement = ran.reading("series", name).judgement
    assert judgement is not None
    return judgement.passed, judgement.sentence


FAILS = "att_error: unlikely error"


@pytest.mark.parametrize(
    ("rounds", "sometimes", "passed", "sentence"),
    [
        (59, (), True, "0 of 59 rounds failed: at most 4.951 % fail, at 95 % confidence"),
        (59, (f"{{from: 30, times: 1, {FAILS}}}",), False,
         "1 of 59 rounds failed: up to 7.79 % may fail at 95 % confidence, above 5 %; with 1 failed it takes 93 rounds: "
         "step 3.1 (round 30) failed: "),
        # the rounds that the record leaves out are among them
        (93, (f"{{from: 70, times: 1, {FAILS}}}",), True, "1 of 93 rounds failed: at most 5 % fail, at 95 % confidence"),
        (153, (f"{{every: 50, {FAILS}}}",), True, "3 of 153 rounds failed: at most 4.99 % fail, at 95 % confidence"),
        (153, (f"{{from: 70, times: 3, {FAILS}}}",), False,
         "3 of 153 rounds failed: in 1 group, so the rounds depend on one another: "),
        (59, (f"{{from: 30, {FAILS}}}",), False, "30 of 59 rounds failed: up to 62.18 % may fail at 95 % confidence, above 5 %: "),
    ],
)  # fmt: skip
def test_the_share_of_failed_rounds(rounds: int, sometimes: tuple[str, ...], passed: bool, sentence: str) -> None:
    ran = run(repeat(rounds, "failed_share: {max: 5 %, confidence: 95 %}"), unit(*sometimes))
    found = judged(ran, "failed_share")
    assert found[0] == passed
    assert found[1].startswith(sentence)
    assert (ran.ended.verdict, ran.ended.cause) == (("pass", None) if passed else ("fail", "limit"))


def test_a_share_can_end_a_repetition() -> None:
    ran = run(
        repeat(50, "failed: {max: 9}", more="stop_when: {failed_share: {min: 20 %}}"), unit(f"{{from: 5, {FAILS}}}")
    )
    assert (ran.reading("series", "rounds").value, ran.reading("series", "failed").value) == (5, 1)
    assert "failed_share" not in {reading.name for reading in ran.step("series").readings}  # nobody asks for it


def test_rounds_that_a_condition_leaves_out_show_nothing() -> None:
    plan = repeat(59, "failed_share: {max: 5 %, confidence: 95 %}, look.elapsed.p95: {max: 1 s, confidence: 95 %}",
                  step="read: battery level, only_if: {round: {max: 40}}")  # fmt: skip
    ran = run(plan, unit())
    assert judged(ran, "failed_share")[1].startswith("0 of 40 rounds failed: up to 7.216 % may fail")
    assert judged(ran, "look.elapsed.p95")[1].endswith("is 0.03 s: it takes 59 rounds for an upper limit")
    assert ran.ended.exit_code == 1


@pytest.mark.parametrize(
    ("sometimes", "passed", "sentence"),
    [
        ((), True, "p95 of 93 values is 0.03 s: at most 0.03 s, at 95 % confidence"),
        (("{from: 31, times: 1, delay: 300 ms}",), True, "at most 0.03 s"),
        (("{every: 31, delay: 300 ms}",), False, "up to 0.33 s may be at 95 % confidence, above 0.2 s"),
        # a round without a value is as bad as the worst
        ((f"{{every: 31, {FAILS}}}",), False, "90 values is 0.03 s, 3 rounds gave none: it takes 153 rounds for an upper limit"),
    ],
)  # fmt: skip
def test_a_percentile(sometimes: tuple[str, ...], passed: bool, sentence: str) -> None:
    ran = run(repeat(93, "look.elapsed.p95: {max: 200 ms, confidence: 95 %}, failed: {max: 3}"), unit(*sometimes))
    found = judged(ran, "look.elapsed.p95")
    assert found[0] == passed
    assert sentence in found[1]
    assert ran.ended.exit_code == (0 if passed else 1)


def test_a_mean() -> None:
    limit = "look.value.mean: {nominal: 75 %, tolerance: 7 %, confidence: 95 %}"
    ran = run(repeat(60, limit), unit())
    judgement = ran.reading("series", "look.value.mean").judgement
    assert judgement is not None
    assert judgement.passed
    assert judgement.confidence == 95
    assert judgement.at_least is not None
    assert judgement.at_most is not None
    assert 68 <= judgement.at_least < 75 < judgement.at_most <= 82
    assert run(repeat(60, limit.replace("7 %", "1 %")), unit()).ended.exit_code == 1
    lost = run(repeat(60, f"{limit}, failed: {{max: 1}}"), unit(f"{{from: 9, times: 1, {FAILS}}}"))
    assert judged(lost, "look.value.mean")[1].endswith("the mean of the others says nothing of these")


def test_values_of_which_a_round_gives_several_depend_on_one_another() -> None:
    device = unit().replace("[read]", "[read, notify]\n    notify: {period: 50 ms, goes_on: true}")
    plan = repeat(59, "look.value.p95: {max: 95 %, confidence: 95 %}", step="notify: battery level, count: 2")
    with pytest.raises(PlanError, match=r"confidence does not apply to 'look.value.p95'"):
        run(plan, device)


@pytest.mark.parametrize(
    ("sometimes", "decision", "sentence"),
    [
        ((), "accepted", "accepted after 14 rounds, 0 failed: a unit that fails in 20 % of its rounds is accepted with 10 % risk at most"),
        ((f"{{times: 9, {FAILS}}}",), "rejected", "rejected after 3 rounds, 3 failed: a unit that fails in 5 % of its rounds is rejected with 5 % risk"),
        ((f"{{from: 6, times: 1, {FAILS}}}",), "accepted", "accepted after 23 rounds, 1 failed"),
        ((f"{{every: 9, {FAILS}}}",), "undecided", "undecided after 68 rounds, 7 failed: it takes more rounds to accept the unit"),
    ],
)  # fmt: skip
def test_a_sequential_test(sometimes: tuple[str, ...], decision: str, sentence: str) -> None:
    ran = run(repeat(68, more=SEQUENTIAL), unit(*sometimes))
    assert ran.reading("series", "decision").value == decision
    assert judged(ran, "decision")[1].startswith(sentence)
    assert ran.ended.exit_code == (0 if decision == "accepted" else 1)
    assert ran.ended.cause == (None if decision == "accepted" else "limit")


REFUSED = [
    (repeat(20, "failed_share: {max: 1 %, confidence: 95 %}"), "20 rounds cannot show max 1 % at 95 % confidence: at least 299 are needed"),
    (repeat(58, "look.elapsed.p95: {max: 1 s, confidence: 95 %}"), "at least 59 are needed"),
    (repeat(29, "look.value.mean: {max: 90 %, confidence: 95 %}"), "at least 30 are needed"),
    (repeat(99, "failed_share: {max: 0 %, confidence: 95 %}"), "no number of rounds shows max 0 %"),
    (repeat("8 h", "look.elapsed.p95: {max: 1 s, confidence: 95 %}"), "a confidence needs a number of rounds"),
    (repeat(99, "failed_share: {max: 9 %, confidence: 95 %}", more="stop_when: {failed: {min: 1}}"), "where stop_when ends the rounds"),
    (repeat(99, "failed_share: {max: 9 %, confidence: 95 %}", more=SEQUENTIAL), "where a sequential test ends the rounds"),
    (repeat(99, "failed: {max: 1, confidence: 95 %}"), "confidence does not apply to 'failed'"),
    (repeat(99, "look.elapsed: {max: 1 s, confidence: 95 %}"), "confidence does not apply to 'look.elapsed'"),
    (repeat(99, "look.value.spread: {max: 9 %, confidence: 95 %}"), "confidence does not apply to 'look.value.spread'"),
    (repeat(99, "look.value.p50: {equals: 9 %, confidence: 95 %}"), "confidence does not apply to equals"),
    (repeat(99, "failed_share: {confidence: 95 %}"), "an empty limit"),
    (repeat(99, "failed_share: {max: 9 %, confidence: 40 %}"), "expected a confidence from 50 % to below 100 %"),
    (repeat(99, "failed_share: {max: 9 %, confidence: 0.95}"), "expected a ratio with its unit"),
    (repeat(67, more=SEQUENTIAL), "67 rounds cannot keep the producer_risk of 5 %: at least 68 are needed"),
    (repeat(67, more=SEQUENTIAL.replace("20 %", "5.1 %")), "more than 5000 are needed"),
    (repeat("1 h", more=SEQUENTIAL), "a sequential test needs a number of rounds"),
    (repeat("{level: [1, 2]}", more=SEQUENTIAL, step="read: battery level, name: '${level}'"), "before each value of the list"),
    (repeat(99, "decision: {equals: accepted}", more=SEQUENTIAL), "sequential is the limit on 'decision' already"),
    (repeat(99, more=SEQUENTIAL.replace("5 %, rej", "30 %, rej")), "acceptable 30 % is not below rejectable 20 %"),
    (repeat(99, more=SEQUENTIAL.replace("10 %", "60 %")), "expected a risk above 0 % and below 50 %"),
    (repeat(99, "decision: {equals: accepted}"), "no reading 'decision'"),
    (plan_text("  - group: g\n    steps: [{read: battery level, name: look}]\n"
               "    expect: {look.value.p95: {max: 90 %, confidence: 95 %}}\n"), "confidence does not apply to"),
    (plan_text("  - repeat: 59\n    steps:\n    - repeat: 2\n      steps: [{read: battery level, name: look}]\n"
               "    expect: {look.value.p95: {max: 90 %, confidence: 95 %}}\n"), "confidence does not apply to"),
    (plan_text("  - read: battery level\n    expect: {value: {max: 90 %, confidence: 95 %}}\n"), "confidence does not apply to"),
]  # fmt: skip


@pytest.mark.parametrize(("plan", "problem"), REFUSED)
def test_what_check_refuses(plan: str, problem: str) -> None:
    with pytest.raises(PlanError) as caught:
        run(plan, unit())
    assert problem in str(caught.value)


def test_what_check_says() -> None:
    limits = "failed_share: {max: 5 %, confidence: 95 %}, look.elapsed.p95: {max: 1 s, confidence: 95 %}"
    said = [sentence for _, sentence in hints(plan_of(repeat(93, limits)))]
    assert said == [
        "failed_share: max 5 % at 95 % confidence allows 1 of 93 rounds to fail",
        "look.elapsed.p95: max 1 s at 95 % confidence allows 1 of 93 rounds to be above it",
    ]
    assert [sentence for _, sentence in hints(plan_of(repeat(68, more=SEQUENTIAL)))] == [
        "'series' takes 24 rounds on average for a unit with 5 % failures, 22 for one with 20 %, 68 at most"
    ]


@pytest.mark.parametrize("how", ["expect: {failed_share: {max: 5 %, confidence: 95 %}}", SEQUENTIAL])
def test_check_tells_which_failures_do_not_count(how: str) -> None:
    steps = "[{read: battery level, name: look, attempts: 3}, {read: battery level, name: late, only_if: {round: {min: 9}}}]"
    plan = plan_text(f"  - repeat: 93\n    name: series\n    {how}\n    steps: {steps}\n")
    said = [sentence for _, sentence in hints(plan_of(plan))]
    assert said[1:] == [
        "'look' is tried up to 3 times: a round in which a later attempt passes has not failed",
        "'late' has a condition: a round that leaves it out has not failed",
    ]
    tolerant = plan.replace(how, "expect: {failed_share: {max: 5 %}}")
    assert not [*hints(plan_of(tolerant))]


def test_every_report_says_what_was_shown() -> None:
    limits = "failed_share: {max: 5 %, confidence: 95 %}, look.elapsed.p95: {max: 1 s, confidence: 95 %}"
    ran = run(repeat(59, limits), unit())
    rows = {row["reading"]: row for row in csv.DictReader(io.StringIO(csv_text(ran.record))) if row["step"] == "3"}
    share = rows["failed_share"]
    assert (share["limit"], share["confidence"], share["at_least"]) == ("max 5 % at 95 % confidence", "95.0", "")
    assert float(share["at_most"]) == pytest.approx(100 * (1 - 0.05 ** (1 / 59)))
    assert float(share["margin"]) == pytest.approx(5 - float(share["at_most"]))
    assert b"SHOWN: step 3 series, failed_share: 0 of 59 rounds failed: at most 4.951 % fail" in junit_xml(ran.record)
    assert b'name="series:failed_share:confidence" value="95.0"' in junit_xml(ran.record)


# --- by chance

RUNS = 80


def shares(passes: int, runs: int, expected: float) -> bool:
    """Whether so many of the runs may pass where each does so with this chance: one such test in 10,000 goes wrong."""
    low, high = interval(passes, runs, 0.9999)
    return low <= expected <= high


@pytest.mark.slow
@pytest.mark.parametrize("share", [1, 5, 10, 20])
def test_units_are_accepted_as_the_operating_characteristic_says(share: int) -> None:
    test = Sequential.strict(0.05, 0.20, 0.05, 0.10)
    device = unit(f"{{share: {share} %, {FAILS}}}")
    decisions = [run(repeat(68, more=SEQUENTIAL), device, seed=seed).ended.verdict for seed in range(RUNS)]
    assert shares(decisions.count("pass"), RUNS, characteristic(test, share / 100, 68).accepted)


@pytest.mark.slow
@pytest.mark.parametrize("share", [1, 5])
def test_units_pass_as_often_as_the_confidence_says(share: int) -> None:
    plan = repeat(59, "failed_share: {max: 5 %, confidence: 95 %}")
    device = unit(f"{{share: {share} %, {FAILS}}}")
    passes = [run(plan, device, seed=seed).ended.verdict for seed in range(RUNS)].count("pass")
    assert shares(passes, RUNS, (1 - share / 100) ** 59)


@pytest.mark.slow
def test_the_rough_air() -> None:
    """A good unit passes there too; a slow connection of one round in ten does not."""
    step = "  - repeat: 93\n    name: series\n    steps:\n    - disconnect:\n    - connect:\n      name: link\n"
    limits = (
        "    expect: {failed_share: {max: 5 %, confidence: 95 %}, link.elapsed.p90: {max: 8 s, confidence: 95 %}}\n"
    )
    assert run(plan_text(step + limits), unit(), air="rough").ended.verdict == "pass"
    refusing = unit() + "faults: {sometimes: [{every: 8, refuse_connections: all}]}\n"
    assert run(plan_text(step + limits), refusing, air="rough").ended.exit_code == 1
