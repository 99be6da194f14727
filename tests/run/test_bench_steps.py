"""ask, call and command through whole runs, and what a station forbids."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from benchrig.station.station import Station
from tests.run.kit import Ran, device_text, run

HEAD = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\n"


def bare(steps: str, folder: Path | None = None, head: str = "", **more: object) -> Ran:
    """A plan without a unit; in a folder when something is to stand beside it."""
    text = f"{HEAD}{head}steps:\n{steps}"
    if folder is None:
        return run(text, **more)  # type: ignore[arg-type]
    plan = folder / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    return run(plan, **more)  # type: ignore[arg-type]


class Answers:
    """An operator who has every answer ready."""

    def __init__(self, answer: object) -> None:
        self.answer = answer
        self.asked: list[object] = []

    async def acknowledge(self, caution: str) -> str:
        self.asked.append(caution)
        return "by a test"

    async def confirm(self, question: str) -> bool:
        return self._answer(question) is True

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return str(self._answer(question))

    async def choose(self, question: str, options: list[str]) -> str:
        return str(self._answer((question, tuple(options))))

    def _answer(self, question: object) -> object:
        self.asked.append(question)
        return self.answer


class Typing(Answers):
    """An operator who types one answer after the other, until one is taken; `problems` are those of the others."""

    def __init__(self, *answers: str) -> None:
        super().__init__(None)
        self._left = [*answers]
        self.problems: list[str] = []

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        self.asked.append(question)
        while problem := problem_with(answer := self._left.pop(0)):
            self.problems.append(problem)
        return answer


# --- ask


@pytest.mark.parametrize(
    ("more", "answer", "limit"),
    [
        ("", True, "true"),
        ("    kind: yes or no\n", True, "true"),
        ("    kind: text\n", "green", "green"),
        ("    kind: choice\n    options: [red, green]\n", "green", "green"),
    ],
)
def test_every_way_to_answer(more: str, answer: object, limit: str) -> None:
    step = f"  - ask: Which colour\n{more}    expect: {{answer: {{equals: {limit}}}, elapsed: {{max: 5 s}}}}\n"
    operator = Answers(answer)
    assert bare(step, operator=operator).ended.exit_code == 0
    assert len(operator.asked) == 1
    failed = bare(step, operator=Answers("red" if isinstance(answer, str) else False))
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit")


def test_a_question_that_nobody_can_answer() -> None:
    ran = bare("  - ask: Does the lamp light?\n    expect: {answer: {equals: true}}\n  - wait: 1 s\n")
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "operator", 2)
    assert ran.ended.message == "nobody answered 'Does the lamp light?' (no terminal)"
    assert ran.verdicts() == ["error", "skip"]


@pytest.mark.parametrize(
    ("answer", "given", "limit"),
    [("", "yes", "true"), ("", "no", "false"), ("    kind: text\n", "abc", "abc"),
     ("    kind: choice\n    options: [red, green]\n", "red", "red")],
)  # fmt: skip
def test_an_answer_given_beforehand(answer: str, given: str, limit: str) -> None:
    step = f"  - ask: Which\n{answer}    given: seen\n    expect: {{answer: {{equals: {limit}}}}}\n"
    assert bare(step, head="given: {seen: {}}\n", given={"seen": given}).ended.exit_code == 0


def test_a_given_answer_that_is_none() -> None:
    step = "  - ask: Which\n    given: seen\n"
    ended = bare(step, head="given: {seen: {}}\n", given={"seen": "perhaps"}).ended
    assert (ended.cause, ended.message) == ("operator", "the given answer 'perhaps' is neither yes nor no")


TP3 = "  - ask: Voltage at TP3\n    kind: number\n    unit: V\n"


@pytest.mark.parametrize("typed", ["4.95", "4.95 V", "4950 mV", " 4.95V "])
def test_a_measured_number_with_or_without_its_unit(typed: str) -> None:
    operator = Typing("five", "4,95", "4.95 A", "005", "", typed)
    ran = bare(TP3 + "    expect: {answer: {min: 4900 mV, max: 5.1 V}}\n", operator=operator)
    assert (ran.reading(1, "answer").value, ran.reading(1, "answer").unit) == (4.95, "V")
    assert (ran.ended.exit_code, operator.asked) == (0, ["Voltage at TP3 [V]"])
    assert operator.problems[:2] == [
        "expected a number in V, found 'five'; for example: 4.95 V",
        "'4,95' has a comma in its number; write a decimal point: 4.95",
    ]
    assert len(operator.problems) == 5


def test_a_number_without_a_unit_is_plain() -> None:
    step = "  - ask: How many blinks?\n    kind: number\n    expect: {answer: {equals: 3}}\n"
    operator = Typing("3 s", "3")
    assert bare(step, operator=operator).ended.exit_code == 0
    assert operator.problems == ["expected a number, found '3 s'; for example: 4.95"]


@pytest.mark.parametrize(
    ("step", "answer", "said"),
    [
        ("  - ask: Is the lamp green?\n    expect: {answer: {equals: true}}\n", False, "'Is the lamp green?' was answered no"),
        ("  - ask: Any smoke?\n    expect: {answer: {equals: false}}\n", True, "'Any smoke?' was answered yes"),
        ("  - ask: Colour\n    kind: text\n    expect: {answer: {equals: red}}\n", "blue",
         "'Colour' was answered: 'blue' is not 'red'"),
        (TP3 + "    expect: {answer: {min: 4.9 V}}\n", "4.7", "'Voltage at TP3' was answered: 4.7 V is below the minimum 4.9 V by 0.2 V"),
    ],
)  # fmt: skip
def test_a_wrong_answer_says_what_was_asked(step: str, answer: object, said: str) -> None:
    ended = bare(step, operator=Answers(answer)).ended
    assert (ended.cause, ended.message) == ("limit", said)


def test_a_number_given_beforehand_is_saved_with_its_unit() -> None:
    step = TP3 + "    given: seen\n    save: {answer: volts}\n  - ask: 'Is ${volts} shown?'\n"
    operator = Answers(True)
    ran = bare(step, head="given: {seen: {}}\n", given={"seen": "4.95"}, operator=operator)
    assert operator.asked == ["Is 4.95 V shown?"]
    assert ran.step(2).planned.name == "ask Is 4.95 V shown?"
    refused = bare(TP3 + "    given: seen\n", head="given: {seen: {}}\n", given={"seen": "5 A"}).ended
    assert refused.message == "the given answer '5 A' is none: expected a number in V, found '5 A'; for example: 4.95 V"


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("kind: number\n    unit: Volt", "unknown unit 'Volt'"),
        ("unit: V", "a unit belongs to a number"),
        ("kind: number\n    unit: V\n    expect: {answer: {max: 5 A}}", "5 A is a current, not a voltage"),
        (
            "kind: number\n    expect: {answer: {matches: 'yes'}}",
            "'matches' does not apply to a reading that is a number",
        ),
        ("about: fixtur", "expected one of unit, fixture; found the text 'fixtur'"),
    ],
)
def test_what_check_says_of_a_question(keys: str, said: str) -> None:
    with pytest.raises(PlanError) as refused:
        bare(f"  - ask: Voltage\n    {keys}\n")
    assert said in str(refused.value)


# --- about a unit that was not found

ABSENT = """
  - ask: Is the fixture closed?
  - scan:
    for: 300 ms
    within: 500 ms
  - ask: Is the lamp green?
    expect: {answer: {equals: true}}
  - ask: Is the fixture empty?
    about: fixture
  - command: ['true']
finally:
  - command: ['true']
    name: relay off
  - ask: Which box?
    about: unit
"""


def test_what_is_about_a_unit_that_was_not_found_is_not_put() -> None:
    operator = Answers(True)
    ran = bare(ABSENT, operator=operator)
    assert ran.verdicts() == ["pass", "fail", "skip", "pass", "skip", "pass", "skip"]
    assert operator.asked == ["Is the fixture closed?", "Is the fixture empty?"]
    ended = ran.step("ask Is the lamp green?").ended
    assert ended is not None
    assert (ended.root and ended.root.node, ended.message) == ("2", "the unit was not found (step 2)")
    assert (ran.ended.cause, ran.ended.exit_code) == ("link", 1)


def test_a_unit_that_is_found_in_the_end_is_asked_about() -> None:
    steps = "steps:\n  - connect:\n    within: 4 s\n  - ask: Green?\n"
    assert run(HEAD + steps, operator=Answers(True)).verdicts() == ["fail", "skip"]
    assert run(HEAD + steps, device_text(), operator=Answers(True)).verdicts() == ["pass", "pass"]


# --- call

MODULE = """
import sys, time
from benchrig.errors import StationError, StepFailed
from benchrig.values.quantity import Quantity


# line 7
def nothing(bench): pass
def one(bench, factor=1): return 21 * factor
async def several(bench): return {'colour': 'red', 'supply': Quantity.from_source('3000 mV')}
def wrong(bench): assert 1 == 2, 'one is not two'
def refused(bench): raise StepFailed('the relay did not click')
def unable(bench): raise StationError('the chamber is switched off')
def broken(bench): return 1 / 0
def late(bench): raise TimeoutError('no answer from the meter')
def leaves(bench): sys.exit(3)
def empty(bench): return next(iter(()))
def deep(bench): return Quantity.from_source('warm')
def odd(bench): return {1, 2}
def slow(bench): time.sleep(0.05)
def hangs(bench): time.sleep(30)
async def stuck(bench): await bench.pause(3600)
not_a_function = 5
"""


@pytest.fixture
def beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for a plan with the module `fixture_calls` beside it."""
    (tmp_path / "fixture_calls.py").write_text(MODULE, encoding="utf-8")
    monkeypatch.setattr(sys, "path", list(sys.path))
    monkeypatch.delitem(sys.modules, "fixture_calls", raising=False)
    return tmp_path


def called(folder: Path, function: str, more: str = "", **others: object) -> Ran:
    return bare(f"  - call: fixture_calls:{function}\n{more}", folder, **others)


@pytest.mark.parametrize(
    ("function", "passes", "fails"),
    [
        ("one", "value: {equals: 21}", "value: {max: 20}"),
        ("several", "colour: {equals: red}", "colour: {equals: blue}"),
        ("several", "supply: {min: 2.9 V}", "supply: {min: 3.1 V}"),
        ("slow", "elapsed: {min: 50 ms, max: 5 s}", "elapsed: {max: 10 ms}"),
        ("one", "value: {one_of: [20, 21]}", "value: {one_of: [20, 22]}"),
    ],
)
def test_what_a_function_returns_is_judged(beside: Path, function: str, passes: str, fails: str) -> None:
    assert called(beside, function, f"    expect: {{{passes}}}\n").ended.exit_code == 0
    failed = called(beside, function, f"    expect: {{{fails}}}\n")
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit")


@pytest.mark.parametrize("names", ["expect: {color: {equals: red}}", "save: {color: seen}"])
def test_a_reading_that_a_function_never_gives_is_the_plans_mistake(beside: Path, names: str) -> None:
    use = "  - call: fixture_calls:one\n    with: {factor: '${seen}'}\n" if "save" in names else ""
    ran = called(beside, "several", f"    {names}\n{use}")
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "plan", 4)
    assert ran.ended.message == "the step gave no reading 'color'"
    assert ran.step(1).ended.advice == "did you mean 'colour'?"


def test_a_function_that_stops_at_a_broken_limit_still_fails_the_unit(beside: Path) -> None:
    ended = called(beside, "several", "    expect: {colour: {equals: blue}, lamp: {equals: 1}}\n").ended
    assert (ended.verdict, ended.cause) == ("fail", "limit")


@pytest.mark.parametrize("names", ["expect: {value: {max: 5}, elapsed: {max: 5 s}}", "save: {value: seen}"])
def test_a_function_without_the_value_that_the_plan_names_is_the_plans_mistake(beside: Path, names: str) -> None:
    use = "  - call: fixture_calls:one\n    with: {factor: '${seen}'}\n" if "save" in names else ""
    ran = called(beside, "nothing", f"    {names}\n{use}")
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "plan", 4)
    assert ran.ended.message == "the step gave no reading 'value'"
    assert ran.step(1).ended.advice == "return it; {'value': None} says that the unit gave none"


def test_arguments_of_a_function(beside: Path) -> None:
    ran = called(beside, "one", "    with: {factor: 2}\n    expect: {value: {equals: 42}}\n")
    assert ran.ended.exit_code == 0


def test_a_function_may_return_nothing(beside: Path) -> None:
    assert called(beside, "nothing").verdicts() == ["pass"]


@pytest.mark.parametrize(
    ("function", "verdict", "cause", "message"),
    [
        ("wrong", "fail", "limit", "fixture_calls:wrong: one is not two"),
        ("refused", "fail", "limit", "the relay did not click"),
        ("unable", "error", "station", "the chamber is switched off"),
        (
            "broken",
            "error",
            "plan",
            "fixture_calls:broken raised ZeroDivisionError: division by zero (fixture_calls.py:14)",
        ),
        (
            "late",
            "error",
            "plan",
            "fixture_calls:late raised TimeoutError: no answer from the meter (fixture_calls.py:15)",
        ),
        ("leaves", "error", "plan", "fixture_calls:leaves raised SystemExit: 3 (fixture_calls.py:16)"),
        (
            "empty",
            "error",
            "plan",
            "fixture_calls:empty raised RuntimeError: coroutine raised StopIteration (fixture_calls.py:17)",
        ),
        (
            "deep",
            "error",
            "plan",
            "fixture_calls:deep raised Misfit: expected a number with its unit, found the text 'warm' (fixture_calls.py:18)",
        ),
        ("odd", "error", "plan", "fixture_calls:odd returned set for 'value' (fixture_calls.py:19)"),
        ("missing", "error", "plan", "call fixture_calls:missing: module 'fixture_calls' has no function 'missing'"),
        (
            "not_a_function",
            "error",
            "plan",
            "call fixture_calls:not_a_function: module 'fixture_calls' has something else as 'not_a_function'",
        ),
        ("stuck", "error", "station", "fixture_calls:stuck did not return within 2 s"),
    ],
)
def test_a_function_that_goes_wrong(beside: Path, function: str, verdict: str, cause: str, message: str) -> None:
    ended = called(beside, function, "    within: 2 s\n").ended
    assert (ended.verdict, ended.cause, ended.message) == (verdict, cause, message)


RAISES = """
import asyncio
async def cancels(bench):
    work = asyncio.ensure_future(asyncio.sleep(9))
    await asyncio.sleep(0)
    work.cancel()
    await work
def interrupts(bench): raise KeyboardInterrupt
def closes(bench): raise GeneratorExit
def endless(bench):
    items = []
    items.append(items)
    return items
def huge(bench): return 10 ** 5000
def twice(bench):
    bench.reading('value', 1)
    return 2
def two_keys(bench): return {1: 1, '1': 2}
"""


@pytest.mark.parametrize(
    ("function", "message"),
    [
        ("cancels", "f:cancels raised CancelledError: no message (f.py:7)"),
        ("interrupts", "f:interrupts raised KeyboardInterrupt: no message (f.py:8)"),
        ("closes", "f:closes raised GeneratorExit: no message (f.py:9)"),
        ("endless", "f:endless returned lists in lists for 'value', deeper than 16 (f.py:10)"),
        ("huge", "f:huge returned a number of more than 1000 digits for 'value' (f.py:14)"),
        ("twice", "the step gave the reading 'value' twice (f.py:15)"),
        ("two_keys", "the step gave the reading '1' twice (f.py:18)"),
    ],
)
def test_whatever_a_function_does_the_run_has_its_verdict(tmp_path: Path, function: str, message: str) -> None:
    (tmp_path / "f.py").write_text(RAISES, encoding="utf-8")
    ended = bare(f"  - call: f:{function}\n    expect: {{elapsed: {{max: 1 min}}}}\n", tmp_path).ended
    assert (ended.cause, ended.exit_code, ended.message) == ("plan", 4, message)


LEAVES = """
import asyncio
from benchrig.errors import UsageError
refused = []
async def first(bench):
    stream = bench.stream('value')
    stream.add(1)
    stream.close()
    asyncio.get_running_loop().call_later(1, later, bench, stream, bench.reading, bench.stream)
def later(bench, stream, reading, new_stream):
    uses = lambda: bench.reading('value', 1), lambda: stream.add(99), lambda: reading('own', 1), lambda: new_stream('own')
    for use in uses:
        try:
            use()
        except UsageError as error:
            refused.append(str(error))
async def second(bench):
    await asyncio.sleep(2)
    return {'value': 99, 'refused': len(refused)}
"""


def test_what_a_function_leaves_running_gives_no_reading_of_a_later_step(tmp_path: Path) -> None:
    (tmp_path / "f.py").write_text(LEAVES, encoding="utf-8")
    limit = "    expect: {value: {max: 5}}\n"
    steps = f"  - call: f:first\n{limit}  - call: f:second\n    expect: {{value: {{max: 5}}, refused: {{equals: 4}}}}\n"
    ran = bare(steps, tmp_path)
    assert ran.verdicts() == ["pass", "fail"]
    assert ran.reading(2, "refused").value == 4, "every use was refused"


KEPT = """
kept = {}
async def keeps(bench):
    kept.update(value=bench.value, target=bench.target('battery level'))
    return 1
async def uses(bench):
    kept['value'](b'\\xff\\xff', kept['target'])
"""


def test_a_malformed_value_for_a_step_that_is_over_does_not_spoil_the_record(tmp_path: Path) -> None:
    (tmp_path / "f.py").write_text(KEPT, encoding="utf-8")
    plan = tmp_path / "plan.yaml"
    plan.write_text(f"{HEAD}steps:\n  - connect:\n  - call: f:keeps\n  - call: f:uses\n", encoding="utf-8")
    battery = "{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 97 %}]}"
    ran = run(plan, device_text(f"services: [{battery}]"))
    assert (ran.verdicts(), ran.ended.cause) == (["pass", "pass", "error"], "plan")
    assert "is over" in ran.ended.message


def test_a_link_that_a_function_ends_is_not_lost(tmp_path: Path) -> None:
    """The unit is not blamed for it, and the steps that need the link are left out."""
    (tmp_path / "f.py").write_text("async def leave(bench):\n    await bench.disconnect()\n    return 1\n")
    steps = "  - connect:\n  - call: f:leave\n    expect: {value: {max: 5}}\n  - discover:\n    expect: {elapsed: {max: 1 s}}\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(f"{HEAD}steps:\n{steps}", encoding="utf-8")
    ran = run(plan, device_text())
    assert ran.verdicts() == ["pass", "pass", "skip"]
    assert (ran.ended.exit_code, ran.step("discover").ended.message) == (5, "step 2 left no link")


def test_a_function_that_hangs_does_not_hang_the_run(beside: Path) -> None:
    began = time.monotonic()
    ended = called(beside, "hangs", "    within: 1 s\n").ended
    assert (ended.cause, ended.exit_code) == ("station", 7)
    assert ended.message.startswith("fixture_calls:hangs did not return within ")
    assert time.monotonic() - began < 20, "the function itself takes 30 s"


def test_arguments_that_a_function_does_not_take(beside: Path) -> None:
    ended = called(beside, "nothing", "    with: {factor: 2}\n").ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)
    assert ended.message.endswith("got an unexpected keyword argument 'factor' (fixture_calls.py:8)")


@pytest.mark.parametrize(
    ("returns", "limit"),
    [
        ("Decimal('0.1')", "{equals: 0.1}"),
        ("Decimal('0.1')", "{max: 0.1}"),
        ("Fraction(1, 4)", "{min: 0.25, max: 0.25}"),
        ("0.1", "{nominal: 0.1, tolerance: 0}"),
        ("10**30", "{min: 1}"),
        ("True", "{equals: true}"),
        ("b'\\x01\\x02'", "{equals: '01 02'}"),
        ("bytearray(b'\\x01')", "{contains: '01'}"),
        ("'shut'", "{matches: 'sh.t'}"),
        ("[Decimal('0.1'), 0.2]", "{max: 0.2}"),
        ("Quantity.from_source('0.1 V')", "{max: 100 mV}"),
        ("Quantity(Fraction(1, 10), Quantity.from_source('1 V').unit)", "{equals: 0.1 V}"),
    ],
)
def test_values_of_every_kind_are_judged(tmp_path: Path, returns: str, limit: str) -> None:
    (tmp_path / "kinds.py").write_text(
        "from decimal import Decimal\nfrom fractions import Fraction\nfrom benchrig import Quantity\n"
        f"def f(bench): return {returns}\n"
    )
    ended = bare(f"  - call: kinds:f\n    expect: {{value: {limit}}}\n", tmp_path).ended
    assert (ended.exit_code, ended.judged) == (0, 1), ended.message


def test_quantities_are_worked_with(tmp_path: Path) -> None:
    (tmp_path / "work.py").write_text(
        "from benchrig import Quantity\n"
        "def before(bench): return {'charge': Quantity.from_source('80.1 %')}\n"
        "def used(bench, charge): return charge - Quantity.from_source('60 %')\n"
    )
    steps = (
        "  - call: work:before\n    save: {charge: charge}\n"
        "  - call: work:used\n    with: {charge: '${charge}'}\n    expect: {value: {equals: 20.1 %}}\n"
    )
    assert bare(steps, tmp_path).ended.exit_code == 0


@pytest.mark.parametrize("returns", ["float('nan')", "Decimal('nan')", "Decimal('snan')", "{'value': None}"])
@pytest.mark.parametrize("limit", ["{max: 22 °C}", "{max: 22}", "{equals: 1}"])
def test_a_value_that_is_none_satisfies_nothing(tmp_path: Path, returns: str, limit: str) -> None:
    (tmp_path / "kinds.py").write_text(f"from decimal import Decimal\ndef f(bench): return {returns}\n")
    ended = bare(f"  - call: kinds:f\n    expect: {{value: {limit}}}\n", tmp_path).ended
    assert ended.exit_code in (1, 4)
    if "None" in returns:
        assert (ended.cause, ended.exit_code) == ("limit", 1)


def test_a_stream_that_the_function_does_not_close_is_its_mistake(tmp_path: Path) -> None:
    (tmp_path / "streams.py").write_text(
        "def f(bench):\n    samples = bench.stream('ripple', 'mV')\n    samples.add(3)\n"
    )
    ended = bare("  - call: streams:f\n    expect: {ripple: {max: 5 mV}}\n", tmp_path).ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)
    assert "the stream 'ripple' was not closed" in ended.message


def test_a_module_beside_the_plan_hides_no_other(tmp_path: Path) -> None:
    (tmp_path / "queue.py").write_text("raise RuntimeError('shadowed')\n")
    (tmp_path / "sibling.py").write_text("SEVEN = 7\n")
    (tmp_path / "mine.py").write_text("import queue\nimport sibling\ndef f(bench): return sibling.SEVEN\n")
    ended = bare("  - call: mine:f\n    expect: {value: {equals: 7}}\n", tmp_path).ended
    assert ended.exit_code == 0, ended.message


def test_a_module_may_be_called_like_another(tmp_path: Path) -> None:
    (tmp_path / "wave.py").write_text("def f(bench): return 7\n")
    assert bare("  - call: wave:f\n    expect: {value: {equals: 7}}\n", tmp_path).ended.exit_code == 0
    assert sys.modules.get("wave") is None or "f" not in vars(sys.modules["wave"])


def test_a_module_called_like_another_is_loaded_once(tmp_path: Path) -> None:
    (tmp_path / "calendar.py").write_text("seen = []\ndef count(bench):\n    seen.append(1)\n    return len(seen)\n")
    step = "  - call: calendar:count\n    name: {name}\n    expect: {{value: {{equals: {count}}}}}\n"
    ran = bare(step.format(name="first", count=1) + step.format(name="second", count=2), tmp_path)
    assert ran.ended.exit_code == 0


def test_two_folders_have_two_modules_of_one_name(tmp_path: Path) -> None:
    for number in (1, 2):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "twofold.py").write_text(f"def f(bench): return {number}\n")
        step = f"  - call: twofold:f\n    expect: {{value: {{equals: {number}}}}}\n"
        assert bare(step, folder).ended.exit_code == 0


def test_a_module_in_a_package_beside_the_plan(tmp_path: Path) -> None:
    (tmp_path / "rigs").mkdir()
    (tmp_path / "rigs" / "__init__.py").write_text("")
    (tmp_path / "rigs" / "oven.py").write_text("def f(bench): return 7\n")
    assert bare("  - call: rigs.oven:f\n    expect: {value: {equals: 7}}\n", tmp_path).ended.exit_code == 0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1 / 0", "call broken_module:f: importing 'broken_module' raised ZeroDivisionError: division by zero (broken_module.py:1)"),
        ("def f(:", "call broken_module:f: importing 'broken_module' raised SyntaxError: invalid syntax (broken_module.py, line 1) (broken_module.py:1)"),
    ],
)  # fmt: skip
def test_a_module_that_cannot_be_loaded(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "broken_module.py").write_text(text)
    ended = bare("  - call: broken_module:f\n", tmp_path).ended
    assert (ended.cause, ended.message) == ("plan", message)


def test_a_module_that_is_not_there(tmp_path: Path) -> None:
    ended = bare("  - call: no_such_module_anywhere:f\n", tmp_path).ended
    assert (ended.cause, ended.exit_code) == ("station", 7)
    assert "No module named 'no_such_module_anywhere'" in ended.message


def test_a_station_forbids_what_runs_programs(beside: Path) -> None:
    ended = called(beside, "one", station=Station("bench 1", forbid=["call"])).ended
    assert (ended.cause, ended.exit_code, ended.message)[:2] == ("station", 7)
    assert "this station forbids call steps" in ended.message
    marker = beside / "ran"
    ended = bare(f"  - command: [touch, '{marker}']\n", station=Station("bench 1", forbid=["command"])).ended
    assert ended.cause == "station"
    assert "this station forbids command steps" in ended.message
    assert not marker.exists()


# --- command


@pytest.mark.parametrize(
    ("program", "passes", "fails"),
    [
        ("[sh, -c, exit 3]", "exit_code: {equals: 3}", "exit_code: {equals: 0}"),
        ("[echo, hello]", "output: {equals: hello}", "output: {equals: bye}"),
        ("[sh, -c, 'echo oh dear >&2']", "errors: {contains: dear}", "errors: {equals: ''}"),
        ("[sleep, '0.05']", "elapsed: {min: 50 ms, max: 5 s}", "elapsed: {max: 10 ms}"),
        ("[sh, -c, 'kill -9 $$$$']", "exit_code: {equals: -9}", "exit_code: {min: 0}"),
    ],
)
def test_every_reading_of_command(program: str, passes: str, fails: str) -> None:
    assert bare(f"  - command: {program}\n    expect: {{{passes}}}\n").ended.exit_code == 0
    failed = bare(f"  - command: {program}\n    expect: {{{fails}}}\n")
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit")


def test_a_program_that_fails_unasked_is_the_stations_trouble() -> None:
    ran = bare("  - command: [sh, -c, 'echo no dongle >&2; exit 3']\n")
    assert (ran.ended.cause, ran.ended.exit_code, ran.ended.message) == ("station", 7, "sh ended with exit code 3")
    assert ran.step(1).ended.advice == "no dongle"
    assert ran.step(1).notes[0].text == "sh said: no dongle"


def test_a_program_that_is_not_there() -> None:
    ended = bare("  - command: [no-such-program-anywhere]\n").ended
    assert (ended.cause, ended.exit_code) == ("station", 7)
    assert ended.message == "no-such-program-anywhere cannot be started: No such file or directory"


def test_no_shell_reads_the_arguments(tmp_path: Path) -> None:
    marker = tmp_path / "touched"
    argument = f"; touch {marker}"
    ran = bare(
        f"  - command: [echo, '{argument}', '$HOME', '*']\n    expect: {{output: {{equals: '{argument} $HOME *'}}}}\n"
    )
    assert ran.ended.exit_code == 0
    assert not marker.exists()


def test_a_value_from_outside_is_one_argument() -> None:
    step = "  - command: [echo, '${text}']\n    expect: {output: {equals: '$(id) && ls'}}\n"
    assert bare(step, head="given: {text: {}}\n", given={"text": "$(id) && ls"}).ended.exit_code == 0


def test_a_program_runs_beside_the_plan(tmp_path: Path) -> None:
    assert (
        bare(f"  - command: [pwd]\n    expect: {{output: {{equals: '{tmp_path}'}}}}\n", tmp_path).ended.exit_code == 0
    )


@pytest.mark.slow
def test_a_time_limit_ends_the_program_and_its_children(tmp_path: Path) -> None:
    pid_file = tmp_path / "pid"
    script = f"sleep 300 & echo $! > {pid_file}; wait"
    started = time.monotonic()
    ended = bare(f"  - command: [sh, -c, '{script}']\n    within: 2 s\n").ended
    assert (ended.verdict, ended.cause, ended.exit_code) == ("error", "station", 7)
    ran = re.match(r"sh was ended: it ran longer than ([\d.]+) s", ended.message)
    assert ran
    assert 0 < float(ran[1]) < 2, "what is left of the step's time, a little of which is for the end"
    assert time.monotonic() - started < 20
    assert gone(int(pid_file.read_text()))


def gone(pid: int) -> bool:
    """Whether the process ends; a signal takes a moment to arrive."""
    deadline = time.monotonic() + 10
    while alive(pid) and time.monotonic() < deadline:
        time.sleep(0.01)
    return not alive(pid)


def alive(pid: int) -> bool:
    """Whether the process runs; one that is dead and not yet buried does not."""
    status = Path(f"/proc/{pid}/stat")
    if status.parent.parent.exists():
        try:
            return status.read_text().rpartition(")")[2].split()[0] != "Z"
        except (FileNotFoundError, ProcessLookupError):
            return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_flood_of_output_is_bounded() -> None:
    script = "head -c 3000000 /dev/zero | tr \\\\0 x"
    step = f"  - command: [sh, -c, '{script}']\n    expect: {{output: {{length: {{max: 65536}}}}}}\n"
    ran = bare(step)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert len(ran.reading(1, "output").value) <= 4096


def test_output_that_is_no_text() -> None:
    ran = bare("  - command: [printf, '\\377\\033[2J']\n    expect: {output: {length: {min: 1}}}\n")
    assert ran.ended.exit_code == 0
    assert ran.reading(1, "output").value.startswith("\ufffd")


def test_an_interruption_ends_the_program_and_its_children(tmp_path: Path) -> None:
    pid_file = tmp_path / "pid"
    script = f"sleep 300 & echo $! > {pid_file}; wait"

    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened):
            asyncio.get_running_loop().create_task(interrupt_when(pid_file, runner))

    ran = bare(f"  - command: [sh, -c, '{script}']\n", during=during)
    assert (ran.ended.cause, ran.ended.exit_code) == ("operator", 2)
    assert gone(int(pid_file.read_text()))


async def interrupt_when(path: Path, runner: Runner) -> None:
    """Interrupt once the program has written its file."""
    while not path.exists() or not path.read_text().strip():
        await asyncio.sleep(0.02)
    runner.interrupt()


@pytest.mark.slow
def test_a_child_that_keeps_the_output_open_is_told(tmp_path: Path) -> None:
    """As the helper of a meter does that starts a service."""
    pid_file = tmp_path / "pid"
    script = f"echo ready; setsid sleep 30 & echo $! > {pid_file}"
    ran = bare(f"  - command: [sh, -c, '{script}']\n    within: 20 s\n    expect: {{output: {{equals: ready}}}}\n")
    os.kill(int(pid_file.read_text()), signal.SIGKILL)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert ran.step(1).notes[0].text == "sh left a process behind that has its output open"


def test_a_child_that_has_more_to_say_is_heard() -> None:
    script = "(sleep 0.2; echo late) &"
    assert bare(f"  - command: [sh, -c, '{script}']\n    expect: {{output: {{equals: late}}}}\n").ended.exit_code == 0


def test_a_zero_character_is_no_part_of_an_argument() -> None:
    with pytest.raises(PlanError, match="an argument of a program cannot hold a zero character"):
        bare('  - command: [echo, "a\\0b"]\n')
    steps = "  - command: [printf, 'a\\000b']\n    save: {output: text}\n  - command: [echo, '${text}']\n"
    ended = bare(steps).ended
    assert (ended.cause, ended.exit_code) == ("plan", 4)


def test_a_program_that_fails_is_not_made_good_by_a_saved_code() -> None:
    steps = "  - command: [sh, -c, exit 3]\n    save: {exit_code: code}\n  - command: [echo, '${code}']\n"
    assert bare(steps).ended.cause == "station"


@pytest.mark.parametrize("step", ["wait: 1 s", "ask: Green?", "command: [echo]", "discover:"])
def test_what_is_never_tried_again_takes_no_attempts(step: str) -> None:
    with pytest.raises(PlanError, match="step is never tried again"):
        bare(f"  - connect:\n  - {step}\n    attempts: 2\n")


def test_a_program_needs_nothing_from_the_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    """A selector loop on Windows, as that of the virtual radio, starts no programs."""

    def cannot(*_: object, **__: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr(asyncio.SelectorEventLoop, "subprocess_exec", cannot)
    monkeypatch.setattr(asyncio, "create_subprocess_exec", cannot)
    assert bare("  - command: [echo, hello]\n    expect: {output: {equals: hello}}\n").ended.exit_code == 0
