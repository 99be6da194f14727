"""A whole plan on simulated devices in one line: options, faults, operators, and what is refused."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from benchrig import Quantity
from benchrig.errors import UsageError
from benchrig.record.events import AnyEvent
from benchrig.testing import (
    AirPdu,
    Answers,
    Faults,
    device_of,
    fault_named,
    faults_of,
    load_plan,
    plan_of,
    run_plan,
    run_virtual,
)
from tests.run.kit import DEVICES, PLANS

SENSOR = device_of("unit 1", {"battery": {"battery level": "88 %"}})
LEVEL = plan_of({"read": "battery level", "expect": {"value": {"min": "50 %"}}})


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_sound_device_passes_and_its_faulty_twin_fails(air: str) -> None:
    ran = run_plan(LEVEL, SENSOR, air=air)
    assert (ran.record.verdict, ran.verdicts(), ran.tasks_left, ran.stray) == ("pass", ["pass"] * 3, 0, [])
    assert ran.reading("read battery level").quantity == Quantity(88, "%")
    broken = run_plan(LEVEL, SENSOR, air=air, fault="battery level: zero").record
    assert (broken.verdict, broken.cause) == ("fail", "limit")
    assert broken.message == "0 % is below the minimum 50 % by 50 %"


def test_the_same_seed_gives_the_same_record() -> None:
    one, other, third = (run_plan(LEVEL, SENSOR, air="rough", seed=seed).events[1:] for seed in (3, 3, 4))
    assert one == other != third


def test_files_text_and_data_are_run_alike() -> None:
    plan, device = PLANS / "smoke.yaml", DEVICES / "logger.yaml"
    text = run_plan(plan.read_text("utf-8"), device.read_text("utf-8"), folder=PLANS)
    assert run_plan(plan, device).verdicts() == text.verdicts() == ["pass"] * len(text.verdicts())


def test_options_of_run() -> None:
    plan = plan_of(
        {"read": "battery level", "expect": {"value": {"min": "${least}"}}},
        {"wait": "1 s"},
        given={"least": {}},
        caution="Mind the relay.",
    )
    ran = run_plan(plan, SENSOR, given={"least": Quantity(90, "%")}, only=["wait 1 s"])
    assert [each.planned.kind for each in ran.record.executions] == ["wait"]
    assert run_plan(plan, SENSOR, given={"least": "90 %"}, from_="read battery level").record.verdict == "fail"
    with pytest.raises(UsageError, match="the plan has no limit"):
        run_plan(plan, SENSOR, given={"least": "90 %"}, may_lack=["read.valu"])


def test_a_caution_that_nobody_acknowledges_ends_the_run() -> None:
    plan = plan_of({"write": "device name", "value": "x"}, caution="Mind the relay.")
    ended = run_plan(plan, SENSOR, acknowledged=False).ended
    assert (ended.cause, ended.advice) == (
        "operator",
        "do what the caution says, and run the plan with acknowledged=True",
    )
    operator = Answers(acknowledges=True)
    assert run_plan(plan, SENSOR, acknowledged=False, operator=operator).ended.cause != "operator"
    assert operator.asked == ["Mind the relay."]


# --- faults


def test_the_link_is_killed_at_every_pdu() -> None:
    seen: list[AirPdu] = []
    assert run_plan(LEVEL, SENSOR, faults=Faults(fate=seen.append)).record.verdict == "pass"
    for number in range(1, len(seen) + 1):
        ran = run_plan(LEVEL, SENSOR, faults=Faults(kill_at=number))
        assert (ran.tasks_left, ran.stray) == (0, []), number
        again = any(step.retries for step in ran.record.steps)
        assert ran.record.cause == "link" or (ran.record.verdict == "pass" and again), number


def test_a_link_that_was_not_killed_is_no_green() -> None:
    faults = Faults(kill_at=1000)
    with pytest.raises(UsageError, match="no link was killed at PDU 1000: the run had fewer"):
        run_plan(LEVEL, SENSOR, faults=faults)


def test_faults_serve_for_several_runs() -> None:
    faults = Faults(kill_at=12)
    assert [run_plan(LEVEL, SENSOR, faults=faults).record.cause for _ in range(2)] == ["link", "link"]


def test_faults_by_name() -> None:
    names = [fault.name for fault in faults_of(SENSOR, families=["value"])]
    assert "battery level: zero" in names
    assert fault_named("battery level: zero", SENSOR).causes == {"device", "limit"}
    assert faults_of(SENSOR, plan=load_plan(LEVEL)) != []


@pytest.mark.parametrize("least", ["1 %", "50 %", "88 %"])
def test_a_value_that_is_too_low_is_so_for_the_plan(least: str) -> None:
    plan = plan_of({"read": "battery level", "expect": {"value": {"min": least}}})
    assert run_plan(plan, SENSOR, fault="battery level: too low").record.cause == "limit"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"fault": "batery level: zero"}, "unknown fault 'batery level: zero' of 'unit 1'"),
        ({"fault": "bench: link disturbed", "faults": Faults(loss=0.1)}, "are both of the air"),
    ],
)
def test_faults_that_are_refused(options: dict[str, object], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        run_plan(LEVEL, SENSOR, **options)  # type: ignore[arg-type]


def test_a_family_that_there_is_none_of_is_refused() -> None:
    with pytest.raises(UsageError, match="unknown family of faults 'values'"):
        faults_of(SENSOR, families=["values"])
    with pytest.raises(UsageError, match="expected a device that can be connected to"):
        faults_of({"others": [{"count": 2, "name": "tag {number}"}]})


# --- operator

ASKS = plan_of(
    {"ask": "Is the LED green?", "expect": {"answer": {"equals": True}}},
    {"ask": "Colour of the case", "kind": "choice", "options": ["red", "blue"], "expect": {"answer": {"equals": "red"}}},
    {"ask": "Weight", "kind": "number", "unit": "g", "expect": {"answer": {"max": "12 g"}}},
    connected=False,
)  # fmt: skip


def asked(**answers: object) -> tuple[list[str], Answers]:
    operator = Answers({"*LED*": True, "Colour*": "red", "Weight*": 11.5, **answers})  # type: ignore[dict-item]
    return run_plan(ASKS, SENSOR, operator=operator).verdicts(), operator


def test_prepared_answers() -> None:
    verdicts, operator = asked()
    assert (verdicts, operator.asked) == (["pass"] * 3, ["Is the LED green?", "Colour of the case", "Weight [g]"])
    assert asked(**{"*LED*": False, "Weight*": lambda question: str(len(question))})[0] == ["fail", "pass", "pass"]
    assert asked(**{"Weight*": ["much", "12"]})[0] == ["pass"] * 3


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"*LED*": "yes"}, "expected True or False as the answer to 'Is the LED green?', found 'yes'"),
        ({"Colour*": "green"}, "expected one of red, blue as the answer to 'Colour of the case', found 'green'"),
        ({"Colour*": True}, "expected text or a number as the answer to 'Colour of the case', found True"),
        ({"Weight [g]": "much", "Weight*": "1"}, "the answer 'much' to 'Weight [g]' was refused: "),
        ({"Weight*": ["much"]}, "no answer was prepared for 'Weight [g]'"),
    ],
)
def test_an_answer_that_does_not_fit_ends_its_step(answers: dict[str, object], said: str) -> None:
    operator = Answers(answers | {"*LED*": True, "Colour*": "red", "Weight*": 11.5} | answers)  # type: ignore[arg-type]
    record = run_plan(ASKS, SENSOR, operator=operator).record
    assert (record.verdict, record.cause) == ("error", "operator")
    assert said in record.message


# --- loop, files, secrets


def test_a_loop_within_another_is_refused_in_words() -> None:
    async def inside() -> None:
        run_plan(LEVEL, SENSOR)

    with pytest.raises(UsageError, match="makes an event loop, and another one is running here"):
        asyncio.run(inside())


def test_a_coroutine_on_the_virtual_clock() -> None:
    async def waits() -> float:
        started = asyncio.get_running_loop().time()
        await asyncio.sleep(3600)
        return asyncio.get_running_loop().time() - started

    assert run_virtual(waits()) == 3600


def test_files_of_a_run_stay_where_they_are_wanted(tmp_path: Path) -> None:
    unit = device_of("unit 1", on_connect=[{"print": "hello"}])
    run_plan(plan_of(), unit, files=tmp_path / "kept")
    assert "hello" in (tmp_path / "kept" / "console.log").read_text("utf-8")


def test_secret_values_are_left_out_as_in_every_record() -> None:
    plan = plan_of({"write": "device name", "value": "${pin}"}, given={"pin": {"secret": True}}, caution="x")
    ran = run_plan(plan, SENSOR, given={"pin": "842517"})
    assert "842517" not in str(ran.events)


def test_each_event_is_shown_when_it_happens() -> None:
    seen: list[AnyEvent] = []
    assert run_plan(LEVEL, SENSOR, watch=seen.append).events == seen
