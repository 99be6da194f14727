"""benchrig.sync: the same without async."""

from __future__ import annotations

import inspect
import signal
import threading
import typing
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import msgspec
import pytest

import benchrig
from benchrig import LimitFailed, Quantity, Record, UsageError, read_record, running, sync
from benchrig.api import link, opening, radio, stream, unit, verbs
from benchrig.testing import plan_of, run_virtual, text_of

DEVICE = """
device: sensor
services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 88 %}
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: {ramp: {from: 20 °C, to: 30 °C, over: 100 s}}
        notify: {period: 1 s}
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("unit.yaml").write_text(DEVICE, "utf-8")
    return tmp_path


@pytest.fixture
def opened() -> Iterator[sync.OpenedRadio]:
    with sync.open_radio("virtual:unit.yaml") as radio:
        yield radio


# --- both forms are alike

PAIRS = [
    (verbs.Asked, sync.Asked),
    (radio.OpenedRadio, sync.OpenedRadio),
    (unit.FoundUnit, sync.FoundUnit),
    (link.ConnectedLink, sync.ConnectedLink),
    (stream.Stream, sync.Stream),
]
# What is another thing in each form, by its type in the async one.
OTHERS = {
    "FoundUnit": "FoundUnit",
    "Stream": "Stream",
    "AbstractAsyncContextManager[ConnectedLink]": "AbstractContextManager[ConnectedLink]",
    "AbstractContextManager[None]": "Iterator[None]",
    "RadioContext": "AbstractContextManager[OpenedRadio]",
}


def public(kind: type) -> dict[str, Any]:
    return {name: value for name, value in inspect.getmembers(kind) if not name.startswith("_")}


def signature(function: Any) -> tuple[list[Any], str]:
    of = inspect.signature(inspect.unwrap(function))
    parameters = [each for each in of.parameters.values() if each.name != "real_time"]
    said = [(each.name, each.kind, str(each.annotation), _default(each.default)) for each in parameters]
    return said, OTHERS.get(of.return_annotation, of.return_annotation)


def _default(value: Any) -> Any:
    return "a function" if callable(value) and not isinstance(value, type) else value


@pytest.mark.parametrize(("first", "second"), PAIRS, ids=lambda each: each.__module__)
def test_both_forms_have_the_same_methods_parameters_defaults_and_types(first: type, second: type) -> None:
    theirs, ours = public(first), public(second)
    assert theirs.keys() == ours.keys()
    for name, method in theirs.items():
        if isinstance(method, property):
            assert typing.get_type_hints(method.fget) == typing.get_type_hints(ours[name].fget), name
            continue
        assert signature(method) == (signature(ours[name])[0], OTHERS.get(*[signature(ours[name])[1]] * 2)), name


def test_both_forms_open_and_run_with_the_same_parameters() -> None:
    for first, second in ((opening.open_radio, sync.open_radio), (running.run_plan, sync.run_plan)):
        assert signature(first) == signature(second)


# --- what it does


def told(record: Record) -> list[Any]:
    """What is on record of the steps, and of the whole."""
    data = msgspec.to_builtins(record)
    steps = [(each.planned.name, each.ended and (each.ended.verdict, each.ended.message)) for each in record.steps]
    return [steps, record.verdict, record.cause, record.message, data["ended"]]


def plain_story() -> Record:
    with sync.open_radio("virtual:unit.yaml", seed=3) as opened:
        found = opened.find("sensor")
        assert (found.name, found.rssi is not None, len(found.address)) == ("sensor", True, 17)
        with found.connect() as linked:
            assert linked.read("battery level", expect={"value": {"min": "20 %"}}) == Quantity("88 %")
            with linked.stream("temperature") as values:
                first = [next(values), next(values)]
            assert (first[0] < first[1], values.statistics["count"].value >= 2) == (True, True)
            with opened.tolerating(), pytest.raises(LimitFailed, match="88 % is above"):
                linked.read("battery level", expect={"value": {"max": "20 %"}})
            linked.wait("2 s")
            assert linked.notify("temperature", count=3)["count"].value == 3
    return opened.record


async def async_story() -> Record:
    async with benchrig.open_radio("virtual:unit.yaml", seed=3) as opened:
        found = await opened.find("sensor")
        async with found.connect() as linked:
            await linked.read("battery level", expect={"value": {"min": "20 %"}})
            async with linked.stream("temperature") as values:
                assert await anext(values) < await anext(values)
            with opened.tolerating(), pytest.raises(LimitFailed):
                await linked.read("battery level", expect={"value": {"max": "20 %"}})
            await linked.wait("2 s")
            await linked.notify("temperature", count=3)
    return opened.record


def test_it_is_the_run_of_the_async_form() -> None:
    plain = plain_story()
    assert told(plain) == told(run_virtual(async_story()))
    assert plain.verdict == "pass"
    assert {each.planned.place.split(":")[0].rpartition("/")[2] for each in plain.steps} == {"test_sync.py"}
    lines = [int(each.planned.place.rpartition(":")[2]) for each in plain.steps]
    source = Path(__file__).read_text("utf-8").splitlines()
    assert "opened.find" in source[lines[0] - 1]
    assert "found.connect()" in source[lines[1] - 1]
    assert "linked.read" in source[lines[2] - 1]


def test_what_fails_ends_the_contexts_in_order() -> None:
    with (
        pytest.raises(LimitFailed, match="88 % is above"),
        sync.open_radio("virtual:unit.yaml") as opened,
        opened.find("sensor").connect() as linked,
    ):
        linked.read("battery level", expect={"value": {"max": "20 %"}})
    assert (opened.record.verdict, opened.record.cause) == ("fail", "limit")
    assert any("ended the link" in note.text for note in opened.record.notes)
    with pytest.raises(UsageError, match="closed"):
        linked.read("battery level")


def test_an_assertion_of_the_caller_is_on_record() -> None:
    with pytest.raises(AssertionError, match="wrong"), sync.open_radio("virtual:unit.yaml") as opened:
        raise AssertionError("wrong")
    assert (opened.record.verdict, opened.record.message) == ("fail", "the Python code raised AssertionError: wrong")


@pytest.mark.parametrize("where", ["in a step", "in a stream", "between steps"])
def test_ctrl_c_disconnects_closes_and_is_raised(where: str) -> None:
    def interrupt() -> None:
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)

    def works(linked: sync.ConnectedLink) -> None:
        if where == "between steps":
            raise KeyboardInterrupt
        threading.Timer(0.2, interrupt).start()
        if where == "in a stream":
            with linked.stream("temperature", quiet="1 h") as values:
                while True:
                    next(values)
        while True:
            linked.read("battery level")

    with (
        pytest.raises(KeyboardInterrupt),
        sync.open_radio("virtual:unit.yaml", results="out") as opened,
        opened.find("sensor").connect() as linked,
    ):
        works(linked)
    record = opened.record
    assert (record.verdict, record.cause) == ("error", "operator")
    assert record.ended is not None
    assert opened.folder is not None
    assert read_record(opened.folder) == record
    assert threading.active_count() == 1 or all(each.name != "benchrig" for each in threading.enumerate())


def test_several_threads_may_ask(opened: sync.OpenedRadio) -> None:
    with (
        opened.find("sensor").connect() as linked,
        linked.stream("temperature") as values,
        ThreadPoolExecutor(6) as pool,
    ):
        levels = [pool.submit(linked.read, "battery level") for _ in range(20)]
        assert [next(values) is not None for _ in range(5)] == [True] * 5
        assert {each.result() for each in levels} == {Quantity("88 %")}


async def test_it_lives_beside_a_loop_that_runs() -> None:
    assert plain_story().verdict == "pass"


def test_what_cannot_be_opened_leaves_no_thread() -> None:
    with (
        pytest.raises(benchrig.PlanError, match=r"none\.yaml"),
        sync.open_radio("virtual:none.yaml"),
    ):
        pass
    assert all(each.name != "benchrig" for each in threading.enumerate())


def test_a_plan_is_run_and_a_virtual_radio_can_take_its_time() -> None:
    step = {"read": "battery level", "expect": {"value": {"min": "50 %"}}}
    Path("plan.yaml").write_text(text_of(plan_of(step, {"wait": "200 ms"}, unit="sensor")), "utf-8")
    record = sync.run_plan("plan.yaml", radio="virtual:unit.yaml", results="out")
    assert (record.verdict, len([*Path("out").glob("*/junit.xml")])) == ("pass", 1)
    with sync.open_radio("virtual:unit.yaml", real_time=True) as opened:
        assert opened.find("sensor", for_="10 ms").name == "sensor"


def test_it_is_there_without_being_imported() -> None:
    assert benchrig.sync is sync
