"""What is said of units that are taken out of slots which share a radio, while others are there that nobody has scanned."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from benchrig.line.events import Withheld
from benchrig.line.journal import NAME, read_line
from benchrig.line.line import Line
from benchrig.line.view import Counts, LineView
from tests.line.assignments import judged
from tests.line.floor_kit import Shop, here, slot, until
from tests.line.units import Unit, plan_text, put_file

__all__ = ["here"]

SHARED = ("1", "2")
A, B = "VFL3-000042", "VFL3-000043"
TOLD = "after_unit: {command: [touch, 'told-{slot}-{verdict}']}\n"
GOOD, OTHER, STRANGER = Unit(42), Unit(43), Unit(77)


async def over(line: Line, *texts: str, at: str = "1") -> None:
    """Scanned, and the test in that slot is over."""
    for text in texts:
        await line.read(text)
    await until(line, lambda view: slot(view, at).state == "ended")


async def scanned(line: Line, text: str, is_so: Callable[[LineView], bool]) -> LineView:
    await line.read(text)
    return await until(line, is_so)


def withheld(shop: Shop) -> list[str]:
    return [event.why for event in read_line(shop.results / NAME).events if isinstance(event, Withheld)]


def is_held(view: LineView) -> bool:
    return slot(view).release and STRANGER.at in slot(view).says


# --- held back


def test_a_unit_with_the_label_of_one_that_was_not_scanned_is_not_passed(here: Path) -> None:
    """The stranger wears the label of the good unit, which is in slot 2."""
    shop = Shop(here, SHARED, {"1": STRANGER, "2": GOOD}, more=TOLD)

    async def work(line: Line) -> None:
        await over(line, "SLOT 1", A)
        view = await scanned(line, A, is_held)
        assert (slot(view).word, view.last[0].word) == ("", "")
        assert "labels of all units" in slot(view).do
        await line.read("SLOT 2")
        await scanned(line, A, lambda view: "is in slot 1" in view.message)
        view = await scanned(line, A, lambda view: slot(view).word != "")
        assert (slot(view).word, slot(view).says) == ("STOP", "two units have this label")

    shop.worked(work)
    assert withheld(shop) == ["two units have this label"]
    assert [file.name for file in here.glob("told-*")] == ["told-1-STOP"]


@pytest.mark.parametrize("how", ["end of the input", "END", "interrupt"])
def test_what_is_held_back_at_the_end_is_given_to_nobody(here: Path, how: str) -> None:
    shop = Shop(here, SHARED, {"1": GOOD, "2": STRANGER}, more=TOLD)

    async def work(line: Line) -> None:
        await over(line, A)
        await scanned(line, A, is_held)
        if how == "interrupt":
            line.interrupt()
        elif how == "END":
            await line.read(how)

    view = shop.worked(work)
    assert (slot(view).word, view.last[0].word, view.counts) == ("STOP", "STOP", Counts(not_judged=1))
    assert len(withheld(shop)) == 1
    assert [file.name for file in here.glob("told-*")] == ["told-1-STOP"]
    assert shop.record(A).verdict == "pass"
    assert shop.state.known("logger", A) is None


def test_a_failure_is_held_back_as_well(here: Path) -> None:
    shop = Shop(here, SHARED, {"1": GOOD.but(battery=20), "2": STRANGER})

    async def work(line: Line) -> None:
        await over(line, A)
        await scanned(line, A, is_held)

    assert slot(shop.worked(work)).word == "STOP"


# --- shown


def in_turn(*texts: str, at_last: str = "PASS") -> Callable[[Line], Awaitable[None]]:
    """The first label is scanned and tested, then the others; in the end slot 1 has this word."""

    async def work(line: Line) -> None:
        await over(line, texts[0])
        for text in texts[1:]:
            await line.read(text)
        await until(line, lambda view: slot(view).word == at_last)

    return work


def test_once_the_other_unit_is_scanned_the_word_is_shown(here: Path) -> None:
    shop = Shop(here, SHARED, {"1": GOOD, "2": OTHER})

    async def work(line: Line) -> None:
        await over(line, A)
        await scanned(line, A, lambda view: OTHER.at in slot(view).says)
        await over(line, B, at="2")
        await scanned(line, A, lambda view: slot(view).word == "PASS")

    shop.worked(work)
    assert withheld(shop) == []


def test_a_unit_that_was_scanned_just_now_is_waited_for(here: Path) -> None:
    shop = Shop(here, SHARED, {"1": GOOD, "2": OTHER})
    shop.worked(in_turn(A, B, A))
    assert withheld(shop) == []
    assert shop.refused == ""


def test_a_unit_that_was_judged_lies_beside(here: Path) -> None:
    """Switched on: it is known, also to a line that was started anew."""
    shop = Shop(here, SHARED, {"1": OTHER})
    shop.worked(in_turn(B, B))
    put_file(here, "2", OTHER)
    put_file(here, "1", GOOD)
    shop.worked(in_turn(A, A))
    assert (shop.refused, withheld(shop)) == ("", [])


@pytest.mark.parametrize(("rssi", "word"), [(-80, "PASS"), (-45, "")])
def test_what_is_too_weak_for_the_plan_is_not_in_the_fixture(here: Path, rssi: int, word: str) -> None:
    plan = plan_text().replace("name: 'VFL*'", "name: 'VFL*', rssi_min: -70 dBm")
    shop = Shop(here, SHARED, {"1": GOOD, "2": STRANGER.but(rssi=rssi)}, plan=plan)

    async def work(line: Line) -> None:
        await over(line, A)
        view = await scanned(line, A, lambda view: slot(view).word != "" or slot(view).says != "")
        assert slot(view).word == word

    shop.worked(work)


def test_a_unit_in_a_slot_with_a_radio_is_not_in_this_one(here: Path) -> None:
    shop = Shop(here, {"1": "left", "2": "left", "3": "right"}, {"1": GOOD, "3": STRANGER})
    shop.worked(in_turn(A, A))
    assert withheld(shop) == []


def test_a_unit_that_is_absent_has_nobodys_result(here: Path) -> None:
    shop = Shop(here, SHARED, {"2": OTHER})

    async def work(line: Line) -> None:
        await over(line, "SLOT 2", B, at="2")
        put_file(here, "1", STRANGER.but(name="XX"))
        await over(line, A)
        await scanned(line, A, lambda view: slot(view).word == "FAIL")

    shop.worked(work)


# --- the way out


def test_with_another_label_for_its_slot_nobody_is_given_the_word(here: Path) -> None:
    shop = Shop(here, SHARED, {"1": GOOD, "2": STRANGER})

    async def work(line: Line) -> None:
        await over(line, A)
        await scanned(line, A, is_held)
        put_file(here, "2", None)
        put_file(here, "1", OTHER)
        await line.read("SLOT 1")
        await scanned(line, B, lambda view: slot(view).serial == B and slot(view).state == "ended")
        await scanned(line, B, lambda view: slot(view).word == "PASS")

    view = shop.worked(work)
    assert [last.word for last in view.last] == ["PASS", "STOP"]


def test_it_is_tested_again_when_the_stranger_is_gone(here: Path) -> None:
    shop = Shop(here, SHARED, {"1": GOOD, "2": STRANGER})

    async def work(line: Line) -> None:
        await over(line, A)
        await scanned(line, A, is_held)
        put_file(here, "2", None)
        await line.read("RETEST")
        await scanned(line, A, lambda view: slot(view).state != "ended")
        await until(line, lambda view: slot(view).state == "ended")
        await scanned(line, A, lambda view: slot(view).word == "PASS")

    view = shop.worked(work)
    assert (view.counts.judged, view.counts.passed_first, view.counts.not_judged) == (1, 1, 0)


# --- lines drawn at random in which a unit wears the label of another one of its fixture


@pytest.mark.parametrize("seed", [3020, 3097])
def test_no_unit_is_taken_out_under_the_word_of_another_one(seed: int) -> None:
    judge = judged(seed)
    assert not judge.wrong, f"{judge.case}\n" + "\n".join(judge.wrong)
