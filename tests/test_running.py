"""benchrig.run_plan: a plan run from Python, in the loop of whoever runs it."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig import Record, read_record, run_plan
from benchrig.errors import BenchrigError, StationError
from benchrig.record.events import AnyEvent, Closed
from benchrig.testing import Answers, VirtualLoop, device_of, plan_of, run_virtual, text_of
from benchrig.testing import run_plan as run_simulated

SENSOR = device_of("unit 1", {"battery": {"battery level": "88 %"}})
LEVEL = {"read": "battery level", "expect": {"value": {"min": "50 %"}}}


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("unit.yaml").write_text(text_of(SENSOR), "utf-8")
    return tmp_path


def written(*steps: dict[str, Any], **keys: Any) -> str:
    Path("plan.yaml").write_text(text_of(plan_of(*steps, **keys)), "utf-8")
    return "plan.yaml"


def ran(path: str, **options: Any) -> Record:
    return run_virtual(run_plan(path, radio="virtual:unit.yaml", **options))


def bare(record: Record) -> Any:
    """All but what differs between two runs of one plan."""
    data = msgspec.to_builtins(record)
    return {key: data[key] for key in ("nodes", "devices", "sightings", "ended")}


def test_it_is_the_run_that_tests_have() -> None:
    record = ran(written(LEVEL))
    assert (record.verdict, record.cause, record.message) == ("pass", None, "")
    assert bare(record) == bare(run_simulated(Path("plan.yaml"), Path("unit.yaml")).record)
    assert {each.name for each in Path().iterdir()} == {"unit.yaml", "plan.yaml"}


def test_results_are_those_of_a_run() -> None:
    record = ran(written(LEVEL), results="out")
    [kept] = [each for each in Path("out").iterdir() if each.is_dir()]
    assert {"record.jsonl", "junit.xml", "readings.csv"} <= {each.name for each in kept.iterdir()}
    assert read_record(str(kept)) == read_record(kept / "record.jsonl") == record
    assert record.run.run_id in Path("out", "index.csv").read_text("utf-8")


def test_a_record_that_is_cut_off_is_read_from_its_folder() -> None:
    ran(written(LEVEL), results="out")
    [file] = Path("out").glob("*/record.jsonl")
    file.write_bytes(file.read_bytes()[:-40])
    record = read_record(file.parent)
    assert (record.cut_off, record.verdict, record.cause, record.message) == (True, None, None, "the run was cut off")
    with pytest.raises(BenchrigError, match="cannot be read"):
        read_record("out")


def test_given_values_and_those_of_the_station() -> None:
    plan = written(LEVEL | {"name": "unit ${serial} at ${place}"}, given={"serial": {}, "place": {}})
    station = Path("station.yaml")
    station.write_text("station: one\nradio: virtual:unit.yaml\ngiven: {place: shelf 3, other: unused}\n", "utf-8")
    record = run_virtual(run_plan(plan, station=station, given={"serial": 7}))
    assert (record.steps[-1].planned.name, record.run.station) == ("unit 7 at shelf 3", "one")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({}, "serial"),
        ({"given": {"serial": "7", "srial": "8"}}, "'srial'"),
        ({"given": {"serial": [7]}}, "expected text or a number for the given value 'serial', found list"),
        ({"given": {"serial": "7"}, "only": ["nothing"]}, "the plan has no step 'nothing'"),
        ({"given": {"serial": "7"}, "may_lack": ["read.valu"]}, "the plan has no limit"),
        ({"given": {"serial": "7"}, "station": "nowhere.yaml"}, "nowhere.yaml:1:1: cannot be read"),
    ],
)
def test_what_makes_no_sense_is_raised(options: dict[str, Any], said: str) -> None:
    plan = written(LEVEL | {"name": "unit ${serial}"}, given={"serial": {}})
    with pytest.raises(BenchrigError, match=said) as caught:
        ran(plan, **options)
    assert caught.value.cause == "plan"


def test_the_device_that_is_meant() -> None:
    plan = written(LEVEL)
    assert [ran(plan, device=device).cause for device in ("unit 1", ["unit ?"], "other")] == [None, None, "link"]


def test_a_radio_that_does_not_exist() -> None:
    with pytest.raises(BenchrigError, match="unknown radio 'vrtual:"):
        run_virtual(run_plan(written(LEVEL), radio="vrtual:unit.yaml"))
    with pytest.raises(BenchrigError, match="cannot be read: No such file"):
        run_virtual(run_plan(written(LEVEL), radio="virtual:nothing.yaml"))


def test_the_environment_makes_no_run_simulated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHRIG_RADIO", "virtual:unit.yaml")
    record = asyncio.run(run_plan(written(LEVEL), radio="hci:tcp:127.0.0.1:1"))
    assert (record.run.simulated, record.verdict, record.cause) == (False, "error", "station")


def test_a_caution_needs_somebody_to_acknowledge_it() -> None:
    plan = written({"write": "device name", "value": "x"}, caution="Mind the relay.")
    assert ran(plan).cause == "operator"
    assert ran(plan, acknowledged=True).cause == ran(plan, operator=Answers(acknowledges=True)).cause != "operator"


def test_a_pass_without_its_reports_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, data: bytes) -> None:
        raise StationError(f"{path} cannot be written: the disk is full")

    monkeypatch.setattr("benchrig.launch.write_whole", full)
    with pytest.raises(StationError, match="the disk is full"):
        ran(written(LEVEL), results="out")
    assert ran(written(LEVEL | {"expect": {"value": {"min": "90 %"}}}), results="out").verdict == "fail"


# --- the loop of the caller


def test_it_takes_neither_signals_nor_the_loop() -> None:
    async def within() -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(handler := lambda loop, context: None)
        before, seen = [signal.getsignal(each) for each in (signal.SIGINT, signal.SIGTERM)], []

        def watch(event: AnyEvent) -> None:
            assert [signal.getsignal(each) for each in (signal.SIGINT, signal.SIGTERM)] == before
            assert loop.get_exception_handler() is handler
            seen.append(event)

        record = await run_plan(written(LEVEL), radio="virtual:unit.yaml", watch=watch)
        assert record.verdict == "pass"
        assert len(seen) > 5
        assert asyncio.all_tasks() == {asyncio.current_task()}

    run_virtual(within())


def test_two_runs_live_side_by_side_in_one_loop() -> None:
    async def both() -> list[Record]:
        path = written({"wait": "1 min", "expect": {"elapsed": {"max": "61 s"}}}, LEVEL)
        return await asyncio.gather(*(run_plan(path, radio="virtual:unit.yaml", seed=seed) for seed in (1, 2)))

    assert [record.verdict for record in run_virtual(both())] == ["pass", "pass"]


CLEANED = [{"wait": "1 s", "name": "relay off"}]


@pytest.mark.parametrize(("times", "cleaned"), [(1, "pass"), (2, "error")])
def test_who_cancels_it_interrupts_it(times: int, cleaned: str) -> None:
    ended: dict[str, str] = {}

    async def cancels() -> None:
        run = asyncio.create_task(run_plan(path, radio="virtual:unit.yaml", results="out", watch=watch))
        await asyncio.sleep(30)
        for _ in range(times):
            run.cancel()
            await asyncio.sleep(0.1)
        with pytest.raises(asyncio.CancelledError):
            await run

    def watch(event: AnyEvent) -> None:
        if isinstance(event, Closed):
            ended[event.where.node] = event.verdict

    path = written({"wait": "10 min"}, LEVEL, finally_=CLEANED)
    run_virtual(cancels())
    [kept] = Path("out").glob("*/record.jsonl")
    record = read_record(kept)
    assert (record.cause, record.step("relay off").ended.verdict) == ("operator", cleaned)  # type: ignore[union-attr]
    assert len(ended) == len(record.executions)


def test_a_time_out_around_it_is_one() -> None:
    async def bounded() -> None:
        async with asyncio.timeout(60):
            await run_plan(written({"wait": "10 min"}), radio="virtual:unit.yaml")

    with pytest.raises(TimeoutError):
        run_virtual(bounded())


@pytest.mark.slow
def test_on_an_ordinary_loop_it_takes_its_time() -> None:
    path = written({"wait": "200 ms", "expect": {"elapsed": {"min": "200 ms"}}})

    async def timed() -> float:
        started = asyncio.get_running_loop().time()
        assert (await run_plan(path, radio="virtual:unit.yaml")).verdict == "pass"
        return asyncio.get_running_loop().time() - started

    with asyncio.Runner() as runner:
        assert runner.run(timed()) >= 0.2
    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        assert runner.run(timed()) >= 0.2
