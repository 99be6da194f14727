"""Units that are put in by hand: what is scanned too early begins by its second scan, and never by itself."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from benchrig.line.line import Line, LineOptions
from benchrig.line.view import LineView
from tests.line.floor_kit import Shop, here, slot, until
from tests.line.test_line import ASKS, BAD, GOLDEN, OWN, A, B
from tests.line.test_line_troubles import FINALLY, WRITES, cut
from tests.line.units import Unit, plan_text, put_file

__all__ = ["here"]

BY_HAND = LineOptions(person="K. Lund", acknowledge=True, reports=(), by_hand=True)
STOPS = "stop: {equal_failures: 1}\n"


def shop(here: Path, *units: Unit, slots: object = ("1",), more: str = "", asks: bool = True) -> Shop:
    """The units in the slots 1, 2, ..; each is asked about, so that nothing ends too early."""
    there = {str(at): unit for at, unit in enumerate(units, start=1)}
    return Shop(here, slots, there, more=more, options=BY_HAND, **({"plan": ASKS} if asks else {}))  # type: ignore[arg-type]


async def read(line: Line, *texts: str) -> LineView:
    """All of them, and what they do at once."""
    for text in texts:
        await line.read(text)
    return await until(line, lambda view: not line._typed)


async def asked(line: Line, name: str = "1") -> LineView:
    return await until(line, lambda view: view.asked is not None and view.asked.slot == name)


def test_a_label_that_had_to_wait_begins_with_its_second_scan(here: Path) -> None:
    there = shop(here, Unit(42))

    async def work(line: Line) -> None:
        await read(line, A)
        await asked(line)
        assert (await read(line, B)).waiting == (B,)
        await read(line, "yes")
        view = await until(line, lambda view: slot(view).word == "PASS")
        assert (view.do, slot(view).serial) == (f"put {B} into slot 1, then scan its label", A)
        put_file(here, "1", Unit(43))
        await read(line, B)
        await asked(line)
        await read(line, "yes")

    view = there.worked(work)
    assert (there.words, there.refused, view.waiting) == ([(A, "PASS"), (B, "PASS")], "", ())


def test_a_label_after_the_word_was_shown_begins_by_itself(here: Path) -> None:
    there = shop(here, Unit(42), asks=False)

    async def work(line: Line) -> None:
        await read(line, A)
        await until(line, lambda view: slot(view).word == "PASS")
        put_file(here, "1", Unit(43))
        await line.read(B)
        await until(line, lambda view: slot(view).serial == B)

    there.worked(work)
    assert there.words == [(A, "PASS"), (B, "PASS")]


def test_another_unit_than_the_one_that_waits_may_be_put_in_first(here: Path) -> None:
    there = shop(here, Unit(42))

    async def work(line: Line) -> None:
        await read(line, A)
        await asked(line)
        await read(line, B, "VFL3-000044", "yes")
        await until(line, lambda view: slot(view).word == "PASS")
        put_file(here, "1", Unit(44))
        view = await read(line, "VFL3-000044")
        assert (view.waiting, slot(view).serial) == ((B,), "VFL3-000044")
        await asked(line)
        await read(line, "yes")

    there.worked(work)
    assert there.words == [(A, "PASS"), ("VFL3-000044", "PASS")]


def test_after_a_lock_nothing_begins_by_itself(here: Path) -> None:
    there = shop(here, Unit(1), Unit(42), slots=OWN, more=GOLDEN, asks=False)

    async def work(line: Line) -> None:
        await read(line, "SLOT 2", A, "SLOT 1", "VFL3-000001")
        view = await until(line, lambda view: view.state == "ready")
        assert (view.waiting, view.do) == ((A,), f"put {A} into slot 2, then scan its label")
        await read(line, A)
        await until(line, lambda view: slot(view, "2").word == "PASS")

    there.worked(work)
    assert there.words == [("VFL3-000001", "PASS"), (A, "PASS")]


def test_after_a_stop_nothing_begins_by_itself(here: Path) -> None:
    there = shop(here, Unit(42, battery=20), more=STOPS, asks=False)

    async def work(line: Line) -> None:
        await read(line, A)
        await until(line, lambda view: view.state == "stopped")
        put_file(here, "1", Unit(43))
        await read(line, B, "CLEAR")
        view = await until(line, lambda view: view.state == "ready")
        assert (view.waiting, slot(view).serial) == ((B,), A)

    there.worked(work)
    assert there.words == [(A, "FAIL")]


def test_a_unit_that_is_tested_is_not_queued_again(here: Path) -> None:
    there = shop(here, Unit(42))

    async def work(line: Line) -> None:
        await read(line, A)
        await asked(line)
        view = await read(line, A)
        assert (view.waiting, view.message) == ((), f"{A} is being tested in slot 1")
        await read(line, "yes")

    there.worked(work)
    assert there.words == [(A, "PASS")]


@pytest.mark.parametrize("by_hand", [True, False])
def test_a_golden_unit_is_not_tested_twice_by_two_scans(here: Path, by_hand: bool) -> None:
    there = shop(here, Unit(1), Unit(42), slots=OWN, more=GOLDEN, asks=False)
    there.options = replace(BY_HAND, by_hand=by_hand)
    there.shift("VFL3-000001", "VFL3-000001")
    assert there.words == [("VFL3-000001", "PASS")]


def test_the_first_free_slot_in_the_stations_order_is_next_also_with_a_verdict_in_it(here: Path) -> None:
    there = shop(here, Unit(42), slots=OWN, asks=False)

    async def work(line: Line) -> None:
        await read(line, A)
        view = await until(line, lambda view: slot(view).word == "PASS")
        assert view.do == "put the next unit into slot 1, then scan its label"

    there.worked(work)


# --- what is said


def test_a_refusal_comes_before_all_verdicts_until_something_else_is_read(here: Path) -> None:
    there = shop(here, Unit(42), asks=False)

    async def work(line: Line) -> None:
        await read(line, A)
        await until(line, lambda view: slot(view).word == "PASS")
        view = await read(line, A)
        assert (view.refused, "passed today" in view.message) == (True, True)
        assert not (await read(line, "RETEST")).refused

    there.worked(work)


def test_hashes_are_short_on_the_screen_and_whole_in_the_log(here: Path) -> None:
    there = shop(here, Unit(42), asks=False)
    (here / "plan.yaml").write_text(plan_text(scan="600 ms"), encoding="utf-8")
    view = there.shift(A)
    assert re.search("expected SHA-256 [0-9a-f]{8}…, found [0-9a-f]{8}…$", view.message) or view.state == "ended"
    assert re.search("expected SHA-256 [0-9a-f]{64}, found [0-9a-f]{64}", there.refused)


def test_a_wrong_label_is_told_as_that(here: Path) -> None:
    shown = slot(shop(here, Unit(77), slots=OWN, asks=False).shift("1", A))
    assert shown.says.startswith("wrong label: the unit is VFL3-000077; ")
    assert "do not relabel" in shown.do


def test_a_locked_station_names_all_that_is_due_and_what_waits(here: Path) -> None:
    there = shop(here, slots=OWN, more=BAD, asks=False)

    async def work(line: Line) -> None:
        view = await read(line, A)
        assert view.message == f"1 waiting: {A}; golden, bad one: not checked yet in this shift"
        view = await read(line, "CLEAR")
        assert (view.refused, view.message) == (True, "the station is locked, not stopped")
        assert "RETEST" in (await read(line, "HELP")).message

    there.worked(work)


def test_a_unit_that_was_not_heard_may_not_be_on(here: Path) -> None:
    shown = slot(shop(here, slots=OWN, more="retest: {most: 1, causes: [link]}\n", asks=False).shift("1", A))
    assert shown.do.startswith("see that it is on and put in well, scan RETEST")
    assert "nothing else was" not in shown.says


@pytest.mark.parametrize(("label", "more"), [(A, ""), ("VFL3-000001", GOLDEN)])
def test_who_refuses_a_caution_is_told_to_scan_again(here: Path, label: str, more: str) -> None:
    there = Shop(
        here, units={"1": Unit(int(label[-6:]))}, plan=WRITES, more=more, options=replace(BY_HAND, acknowledge=False)
    )

    async def work(line: Line) -> None:
        await read(line, label)
        await asked(line)
        await line.read("no")
        view = await until(line, lambda view: slot(view).state == "ended")
        assert (slot(view).word, slot(view).do) == ("STOP", "scan the label again, and answer yes")

    there.worked(work)


CLEANS = (
    FINALLY.replace("device:\n", "caution: keep away from the siren\ndevice:\n", 1)
    + "  - write: battery level\n    value: 60 %\n"
)


def test_a_clean_up_whose_caution_was_refused_is_offered_at_the_next_start(here: Path) -> None:
    there = Shop(here, units={"1": Unit(42)}, plan=CLEANS, options=BY_HAND)
    cut(there)
    there.options = replace(BY_HAND, acknowledge=False, person="J. Holm")

    async def work(line: Line) -> None:
        await until(line, lambda view: view.asked is not None)
        await line.read("yes")
        await until(line, lambda view: view.asked is not None and "siren" in view.asked.text)
        await line.read("no")
        view = await until(line, lambda view: slot(view).state == "ended")
        assert "offered again" in slot(view).do

    there.worked(work)
    assert len(there.state.uncleaned) == 1


def test_a_unit_that_may_not_be_tested_is_refused_whatever_the_line_waits_for(here: Path) -> None:
    """Else it would be listed as one that waits, and its second scan would be refused."""
    there = shop(here, Unit(42, battery=11), more=STOPS, asks=False)

    async def work(line: Line) -> None:
        await read(line, A)
        await until(line, lambda view: view.state == "stopped")
        view = await read(line, A)
        assert (view.waiting, "failed" in there.refused) == ((), True)

    there.worked(work)
    assert there.words == [(A, "FAIL")]
