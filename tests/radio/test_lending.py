"""One open radio, lent to several at once: what is whose, what ends with whom, and what becomes of one that fails."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from benchrig.errors import InternalError, LinkLost, StationError
from benchrig.radio.bumble_stack.pairing import Nobody
from benchrig.radio.lending import SharedRadio
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Ear, Selection
from benchrig.radio.security import Wish
from benchrig.radio.stacked import StackRadio
from benchrig.radio.turns import Use
from benchrig.radio.virtual.clock import run
from benchrig.testing.sources import load_devices
from tests.run.kit import device_text

UNITS = [device_text(name=f"unit {number}", address=f"C4:00:00:00:00:0{number}") for number in (1, 2, 3)]


@dataclass
class Opened:
    """What opens a radio with three units, and how often it has."""

    radios: list[StackRadio] = field(default_factory=list)

    async def __call__(self) -> Radio:
        from benchrig.radio.specify import open_simulated

        radio = await open_simulated([*load_devices(UNITS)])
        assert isinstance(radio, StackRadio)
        self.radios.append(radio)
        return radio


def shared(work: Callable[[SharedRadio, Opened], Awaitable[Any]]) -> Any:
    async def main() -> Any:
        opened = Opened()
        radio = SharedRadio(opened, 3)
        try:
            return await work(radio, opened)
        finally:
            await radio.close()

    return run(main())


async def linked(radio: Radio, number: int) -> Link:
    ear, selection = Ear(), Selection(name=f"unit {number}")
    async with radio.scanning(ear.add):
        while not ear.selected(selection):
            await asyncio.sleep(0.02)
    return await radio.connect(ear.selected(selection)[0], 5.0)


def test_who_closes_ends_his_own_links_alone() -> None:
    async def work(radio: SharedRadio, opened: Opened) -> None:
        one, other = await radio.lend(), await radio.lend()
        mine, its = await linked(one, 1), await linked(other, 2)
        await one.close()
        assert (mine.is_up, its.is_up) == (False, True)
        again = await radio.lend()
        assert (await linked(again, 1)).is_up
        assert its.is_up
        assert len(opened.radios) == 1

    shared(work)


def test_three_find_and_connect_at_once() -> None:
    async def work(radio: SharedRadio, _: Opened) -> list[str]:
        lent = [await radio.lend() for _ in UNITS]
        links = await asyncio.gather(*(linked(one, number) for number, one in enumerate(lent, start=1)))
        return [link.name for link in links if link.is_up]

    assert shared(work) == ["unit 1", "unit 2", "unit 3"]


def test_what_others_have_is_not_heard() -> None:
    async def work(radio: SharedRadio, _: Opened) -> tuple[set[str], list[str]]:
        without = frozenset({"C4:00:00:00:00:01", "C4:00:00:00:00:03"})
        ear, lent = Ear(), await radio.lend(without=without)
        said = await lent.prepare(Selection())
        async with lent.scanning(ear.add):
            await asyncio.sleep(1.0)
        return {sighting.name for sighting in ear.heard.values()}, said

    heard, said = shared(work)
    assert heard == {"unit 2"}
    assert said == ["of what is on the air, left out: C4:00:00:00:00:01, C4:00:00:00:00:03"]


def test_a_radio_that_fails_takes_all_its_runs_and_is_opened_anew_for_the_next() -> None:
    async def work(radio: SharedRadio, opened: Opened) -> None:
        one, other = await radio.lend(), await radio.lend()
        link = await linked(one, 1)
        _pull_out(opened.radios[0])
        await link.lost.wait()
        for lent in (one, other):
            trouble = await lent.trouble()
            assert isinstance(trouble, StationError)
        with pytest.raises(StationError):
            await linked(other, 2)
        waiting = asyncio.ensure_future(radio.lend())
        await asyncio.sleep(1.0)
        assert not waiting.done(), "those who have it are waited for"
        await one.close()
        await other.close()
        assert (await linked(await waiting, 1)).is_up
        assert len(opened.radios) == 2

    shared(work)


def _pull_out(radio: StackRadio) -> None:
    assert radio.stack is not None
    radio.stack.host.lose("the controller is gone")


def test_a_radio_that_does_not_open_is_tried_again() -> None:
    async def main() -> None:
        opened, tries = Opened(), iter([StationError("no adapter"), None])

        async def opener() -> Radio:
            if (error := next(tries)) is not None:
                raise error
            return await opened()

        radio = SharedRadio(opener)
        with pytest.raises(StationError, match="no adapter"):
            await radio.lend()
        assert (await linked(await radio.lend(), 1)).is_up
        await radio.close()

    run(main())


def test_what_had_to_be_done_to_open_it_is_told_once() -> None:
    async def main() -> list[list[str]]:
        async def opener() -> Radio:
            radio = await Opened()()
            radio.waited = 3.0
            return radio

        radio = SharedRadio(opener)
        told = [await (await radio.lend()).prepare(Selection()) for _ in range(2)]
        await radio.close()
        return told

    assert run(main()) == [["waited 3.0 s for another benchrig that used this radio"], []]


def test_who_is_cut_off_while_he_closes_keeps_no_link() -> None:
    async def work(radio: SharedRadio, _: Opened) -> None:
        lent = await radio.lend()
        link = await linked(lent, 1)
        closing = asyncio.ensure_future(lent.close())
        await asyncio.sleep(0)
        closing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await closing
        async with asyncio.timeout(5.0):
            await link.lost.wait()

    shared(work)


def test_a_lost_link_is_the_trouble_of_its_own_run() -> None:
    async def work(radio: SharedRadio, _: Opened) -> None:
        one, other = await radio.lend(), await radio.lend()
        link = await linked(one, 1)
        await link.disconnect()
        with pytest.raises(LinkLost):
            await link.outline(1.0)
        assert await one.trouble() is None
        assert (one.connected_to, other.connected_to) == (frozenset(), frozenset())

    shared(work)


def test_who_listens_at_once_shares_a_scan(monkeypatch: pytest.MonkeyPatch) -> None:
    scans, scanning = 0, StackRadio.scanning

    def counted(self: StackRadio, *args: Any, **keys: Any) -> Any:
        nonlocal scans
        scans += 1
        return scanning(self, *args, **keys)

    monkeypatch.setattr(StackRadio, "scanning", counted)

    async def hear(radio: SharedRadio, seconds: float) -> int:
        ear = Ear()
        async with radio.heard_by(ear.add):
            await asyncio.sleep(seconds)
        return len(ear.heard)

    async def work(radio: SharedRadio, _: Opened) -> list[int]:
        return await asyncio.gather(*(hear(radio, seconds) for seconds in (1.0, 3.0, 2.0)))

    assert shared(work) == [3, 3, 3]
    assert scans == 1


def test_who_connects_waits_for_no_endless_listening() -> None:
    async def work(radio: SharedRadio, _: Opened) -> float:
        await radio.open()
        radio.turns.one_at_a_time = True
        loop, ear = asyncio.get_running_loop(), Ear()

        async def listen(after: float) -> None:
            await asyncio.sleep(after)
            async with radio.heard_by(ear.add):
                await asyncio.sleep(2.0)

        listening = [asyncio.ensure_future(listen(after)) for after in range(5)]
        await asyncio.sleep(1.5)
        began = loop.time()
        async with radio.turns.hold(Use.CONNECT):
            waited = loop.time() - began
        await asyncio.gather(*listening)
        return waited

    assert shared(work) < 2.0


def test_listening_on_a_radio_that_fails_meanwhile_is_an_error() -> None:
    async def work(radio: SharedRadio, opened: Opened) -> None:
        async def listen() -> None:
            async with radio.heard_by(Ear().add):
                await asyncio.sleep(2.0)

        listening = asyncio.ensure_future(listen())
        await asyncio.sleep(1.0)
        _pull_out(opened.radios[0])
        with pytest.raises(StationError):
            await listening

    shared(work)


def test_what_the_stack_fails_on_is_an_error_of_all_who_use_it_then() -> None:
    async def work(radio: SharedRadio, opened: Opened) -> None:
        lent = [await radio.lend(), await radio.lend()]
        stack = opened.radios[0].stack
        assert stack is not None
        stack.host.errors.append(ValueError("an odd packet"))
        for one in lent:
            with pytest.raises(InternalError, match="an odd packet"):
                await one.close()
        await (await radio.lend()).close()
        assert len(opened.radios) == 2, "it is opened anew"

    shared(work)


def test_what_failed_unseen_is_told_at_the_end() -> None:
    async def work(radio: SharedRadio, opened: Opened) -> None:
        await radio.open()
        stack = opened.radios[0].stack
        assert stack is not None
        stack.host.errors.append(ValueError("an odd packet"))

    with pytest.raises(InternalError, match="an odd packet"):
        shared(work)


def test_a_bond_is_that_of_its_run_and_goes_with_it() -> None:
    """On a radio whose bonds last no longer than a run."""

    async def work(radio: SharedRadio, opened: Opened) -> tuple[list[bool], int]:
        one, other = await radio.lend(), await radio.lend()
        await (await linked(one, 1)).security.pair(Wish(), Nobody())
        bonds = opened.radios[0].bonds
        assert bonds is not None
        [bond] = bonds.all()
        own = [one.is_own(bond), other.is_own(bond)]
        await one.close()
        await other.close()
        return own, len(bonds.all())

    assert shared(work) == ([True, False], 0)


def test_who_gives_up_listening_waits_for_no_turn() -> None:
    async def work(radio: SharedRadio, _: Opened) -> float:
        await radio.open()
        radio.turns.one_at_a_time = True
        loop = asyncio.get_running_loop()
        async with radio.turns.hold(Use.CONNECT):
            began = loop.time()
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(1.0), radio.heard_by(Ear().add):
                    pass
            return loop.time() - began

    assert shared(work) == pytest.approx(1.0, abs=0.1)
