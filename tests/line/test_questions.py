"""Questions at a line: one at a time, each with its time, an answer only where it fits."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.errors import OperatorError
from benchrig.line.operator import LineOperator
from benchrig.line.questions import Questions


def questions() -> Questions:
    return Questions(lambda: None)


async def answered(asked: Questions, *texts: str, **of: object) -> str:
    task = asyncio.ensure_future(asked.ask("which?", 5.0, **of))  # type: ignore[arg-type]
    await asyncio.sleep(0)
    for text in texts:
        asked.answer(text)
    return await task


@pytest.mark.parametrize("text", ["no", "NO", "n", " no "])
async def test_an_option_is_typed_in_several_ways(text: str) -> None:
    assert await answered(questions(), text, options=("yes", "no")) == "no"


@pytest.mark.parametrize("text", ["", "1", "3", "yess", "0", "²"])
async def test_what_is_no_option_answers_nothing(text: str) -> None:
    """A number least of all: it is that of a slot."""
    asked = questions()
    assert await answered(asked, text, "green", options=("green", "red")) == "green"


async def test_who_has_the_turn_is_asked_at_once_and_the_others_wait_for_it() -> None:
    asked = questions()
    with asked.turn("1") as take, asked.turn("2") as other:
        await take(True)
        waits = asyncio.ensure_future(other(True))
        task = asyncio.ensure_future(asked.ask("which?", 5.0, "1"))
        await asyncio.sleep(0)
        asked.answer("one")
        assert await task == "one"
        assert not waits.done()
        await take(False)
        await waits


async def test_the_problem_with_an_answer_is_shown() -> None:
    asked = questions()
    task = asyncio.ensure_future(asked.ask("which?", 5.0, options=("green", "red")))
    await asyncio.sleep(0)
    asked.answer("blue")
    assert asked.open is not None
    assert asked.open.shown().problem == "expected green or red, found 'blue'"
    asked.answer("red")
    assert await task == "red"


async def test_a_question_waits_for_the_one_before_it() -> None:
    asked = questions()
    first, second = (asyncio.ensure_future(asked.ask(text, 5.0)) for text in ("first?", "second?"))
    await asyncio.sleep(0)
    assert asked.open is not None
    assert asked.open.text == "first?"
    asked.answer("one")
    await first
    await asyncio.sleep(0)
    asked.answer("two")
    assert await second == "two"


async def test_nobody_answers_in_time_or_at_all() -> None:
    asked = questions()
    with pytest.raises(OperatorError, match=r"within 0\.01 s"):
        await asked.ask("which?", 0.01)
    task = asyncio.ensure_future(asked.ask("which?", 5.0))
    await asyncio.sleep(0)
    asked.nobody()
    with pytest.raises(OperatorError, match="the input has ended"):
        await task


async def test_a_caution_that_two_runs_ask_for_is_read_once() -> None:
    asked, read = questions(), list[str]()
    operators = [
        LineOperator(
            asked, slot, lambda: 5.0, lambda text: read[0] if read else "", lambda text: read.append("by K") or "by K"
        )
        for slot in "12"
    ]
    tasks = [asyncio.ensure_future(each.acknowledge("hot")) for each in operators]
    await asyncio.sleep(0)
    asked.answer("yes")
    assert await asyncio.gather(*tasks) == ["by K", "by K"]
    assert read == ["by K"]


@pytest.mark.parametrize("text", ["VFL3-000042", "", "1x"])
async def test_a_caution_takes_the_words_alone(text: str) -> None:
    asked = questions()
    operator = LineOperator(asked, "1", lambda: 0.01, lambda text: "", lambda text: "by K")
    task = asyncio.ensure_future(operator.acknowledge("hot"))
    await asyncio.sleep(0)
    asked.answer(text)
    with pytest.raises(OperatorError):
        await task
