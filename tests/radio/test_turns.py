"""Turns at a radio: who may do what at once, in which order, and that nobody keeps one."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.radio.turns import OwnTurn, Turn, Turns, Use
from benchrig.radio.virtual.clock import run

USES = st.sampled_from([Use.HEAR, Use.CONNECT, Use.ALONE])


def at_work(uses: list[tuple[Use, float]], turns: Turns) -> list[tuple[set[int], int]]:
    """Who was at work whenever somebody began, and who that was; each works for so long."""
    now: set[int] = set()
    seen: list[tuple[set[int], int]] = []

    async def one(number: int, use: Use, seconds: float) -> None:
        async with turns.hold(use):
            seen.append((set(now), number))
            now.add(number)
            await asyncio.sleep(seconds)
            now.remove(number)

    async def all_() -> None:
        await asyncio.gather(*(one(number, *each) for number, each in enumerate(uses)))

    run(all_())
    return seen


def may(one: Use, other: Use, *, one_at_a_time: bool) -> bool:
    """The rule in other words: two may hear, or one hears and one connects."""
    return not one_at_a_time and {one, other} in ({Use.HEAR}, {Use.HEAR, Use.CONNECT})


@given(st.lists(st.tuples(USES, st.floats(0, 3)), max_size=8), st.booleans())
def test_who_excludes_whom_is_never_at_work_at_once(uses: list[tuple[Use, float]], one_at_a_time: bool) -> None:
    seen = at_work(uses, Turns(one_at_a_time))
    assert sorted(number for _, number in seen) == [*range(len(uses))]
    for others, number in seen:
        assert all(may(uses[number][0], uses[other][0], one_at_a_time=one_at_a_time) for other in others)


@given(st.lists(st.tuples(st.just(Use.CONNECT), st.floats(0, 3)), max_size=6))
def test_first_come_first_served(uses: list[tuple[Use, float]]) -> None:
    assert [number for _, number in at_work(uses, Turns())] == [*range(len(uses))]


def test_nobody_overtakes_whom_he_would_keep_waiting() -> None:
    """The scan behind a stranger that waits for a scan waits too: else the stranger might wait for ever."""
    seen = at_work([(Use.HEAR, 1), (Use.ALONE, 1), (Use.HEAR, 1), (Use.HEAR, 1)], Turns())
    assert [number for _, number in seen] == [0, 1, 2, 3]
    assert seen[3] == ({2}, 3)


async def cancelled(work: Coroutine[Any, Any, Any], after: float) -> None:
    task = asyncio.ensure_future(work)
    await asyncio.sleep(after)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


@pytest.mark.parametrize("after", [0.5, 1.5])
def test_who_is_cancelled_keeps_nothing(after: float) -> None:
    """While he waits, and while he is at work."""

    async def main() -> float:
        turns, loop = Turns(), asyncio.get_running_loop()
        began = loop.time()
        first = asyncio.ensure_future(_hold(turns, 1.0))
        await asyncio.sleep(0)
        await cancelled(_hold(turns, 100.0), after)
        await first
        await _hold(turns, 0.0)
        return loop.time() - began

    assert run(main()) == pytest.approx(max(1.0, after))


async def _hold(turns: Turns, seconds: float) -> None:
    async with turns.hold(Use.CONNECT):
        await asyncio.sleep(seconds)


def test_a_turn_is_given_back_before_the_next_one_is_taken() -> None:
    async def main() -> None:
        turns = Turns()
        one, other = Turn(turns), Turn(turns)
        await one.take(Use.CONNECT)
        waiting = asyncio.ensure_future(other.take(Use.CONNECT))
        await asyncio.sleep(0)
        assert not waiting.done()
        again = asyncio.ensure_future(one.take(Use.CONNECT))
        await waiting
        await asyncio.sleep(0)
        assert not again.done(), "he stands behind who has waited"
        other.give_back()
        await again

    run(main())


def test_an_own_turn_can_be_taken_twice_by_its_owner_and_by_nobody_else() -> None:
    async def main() -> None:
        mine = OwnTurn()
        other = mine.of_another()
        async with mine.taken(), mine.taken():
            await cancelled(_taken(other), 1.0)
        await _taken(other)
        async with other.taken():
            await cancelled(_taken(mine), 1.0)

    run(main())


async def _taken(turn: OwnTurn) -> None:
    async with turn.taken():
        pass
