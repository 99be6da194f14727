"""Which unit a question is about, and which text answers it."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.line.events import Answered
from benchrig.line.journal import NAME, read_line
from benchrig.line.line import Line
from benchrig.line.view import Asked, LineView
from tests.line.floor_kit import Shop, here, slot, until
from tests.line.units import Unit, plan_text, put_file

__all__ = ["here"]

A, B, C = "VFL3-000042", "VFL3-000043", "VFL3-000044"
SHARED, OWN = ("1", "2"), {"1": "left", "2": "right"}
ASKS = plan_text() + "  - ask: is the lamp green\n    name: the lamp\n    expect: {answer: {equals: true}}\n"


def shop(here: Path, slots: object = SHARED, plan: str = ASKS) -> Shop:
    """Two good units, the first one in the second slot and the other way round: nothing on a shared radio tells."""
    return Shop(here, slots, {"1": Unit(43), "2": Unit(42)}, plan=plan)  # type: ignore[arg-type]


def answers(of: Shop) -> list[tuple[str, str, str, str]]:
    events = read_line(of.results / NAME).events
    return [(each.slot, each.unit, each.question, each.answer) for each in events if isinstance(each, Answered)]


async def asked(line: Line, about: str = "") -> Asked:
    """The question that is open, of this unit."""
    view = await until(line, lambda view: view.asked is not None and view.asked.unit == (about or view.asked.unit))
    assert view.asked is not None
    return view.asked


async def said(line: Line, text: str, seen: int | None = None) -> Asked:
    """What is asked once this was read."""
    await line.read(text, seen)
    view = await until(line, lambda view: view.asked is not None and not line._typed)
    assert view.asked is not None
    return view.asked


async def out(line: Line, label: str) -> LineView:
    """The unit is taken out."""
    await until(line, lambda view: any(each.serial == label and each.release for each in view.slots))
    await line.read(label)
    return await until(line, lambda view: any(each.serial == label and each.word for each in view.slots))


# --- the unit that somebody looks at


def test_on_a_shared_radio_the_label_of_the_unit_comes_before_its_answer(here: Path) -> None:
    held = Shop(here, SHARED, {"2": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        about = await asked(line)
        assert (about.slot, about.unit, about.scan) == ("1", A, True)
        assert "scan the label" in (await said(line, "yes")).problem
        assert not (await said(line, A)).scan
        await line.read("yes")
        assert slot(await out(line, A)).word == "PASS"

    held.worked(work)
    assert answers(held) == [("1", A, "is the lamp green", "yes")]


def test_the_label_of_another_unit_answers_nothing(here: Path) -> None:
    held = shop(here)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line, A)
        await line.read(B)
        await until(line, lambda view: slot(view, "2").serial == B)
        assert f"this is the label of {B}" in (await said(line, B)).problem
        assert "scan the label" in (await said(line, "yes")).problem
        assert not (await said(line, A)).scan
        assert (await said(line, B)).scan  # somebody looks at the other one again
        await line.read(A)
        await line.read("no")
        await asked(line, B)
        await line.read(B)
        await line.read("yes")
        await out(line, A)
        await out(line, B)

    held.worked(work)
    assert {*held.words} == {(A, "FAIL"), (B, "PASS")}
    assert [(unit, answer) for _, unit, _, answer in answers(held)] == [(A, "no"), (B, "yes")]
    assert f"this is the label of {B}" in held.refused


def test_a_label_that_is_read_twice_takes_no_unit_out(here: Path) -> None:
    held = Shop(here, SHARED, {"2": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line)
        for text in (A, A, "yes"):
            await line.read(text)
        view = await until(line, lambda view: slot(view).state == "ended")
        assert (slot(view).release, slot(view).word) == (True, "")
        await out(line, A)

    held.worked(work)


def test_a_slot_with_a_radio_of_its_own_asks_without_a_label(here: Path) -> None:
    held = Shop(here, OWN, {"1": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        about = await asked(line)
        assert (about.unit, about.scan) == (A, False)
        await line.read("yes")

    held.worked(work)
    assert held.words == [(A, "PASS")]


# --- a question that was read


@pytest.mark.parametrize("seen", [0, 99])
def test_what_was_typed_before_the_question_was_read_answers_nothing(here: Path, seen: int) -> None:
    held = Shop(here, units={"1": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A, 0)
        about = await asked(line)
        assert "read the question" in (await said(line, "yes", seen)).problem
        await line.read("no", about.number)

    held.worked(work)
    assert held.words == [(A, "FAIL")]
    assert answers(held) == [("1", A, "is the lamp green", "no")]


def test_one_answer_that_is_read_twice_answers_one_question(here: Path) -> None:
    held = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A, 0)
        await line.read(B, 0)
        first = await asked(line)
        await until(line, lambda view: all(each.done >= 5 for each in view.slots))
        for _ in range(2):
            await line.read("yes", first.number)
        view = await until(line, lambda view: view.asked is not None and view.asked.unit != first.unit)
        assert view.asked is not None
        await until(line, lambda view: not line._typed)
        await line.read("no", view.asked.number)

    held.worked(work)
    assert sorted(word for _, word in held.words) == ["FAIL", "PASS"]
    assert [answer for *_, answer in answers(held)] == ["yes", "no"]


def test_a_label_that_was_typed_early_is_a_unit(here: Path) -> None:
    held = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=ASKS.replace("battery", "battery"))

    async def work(line: Line) -> None:
        await line.read(A, 0)
        await asked(line)
        await line.read(B, 0)
        await until(line, lambda view: slot(view, "2").serial == B)
        for label in (A, B):
            await line.read("yes", (await asked(line, label)).number)
            await until(line, lambda view, label=label: view.asked is None or view.asked.unit != label)  # type: ignore[misc]

    held.worked(work)
    assert {*held.words} == {(A, "PASS"), (B, "PASS")}


def test_a_problem_goes_away_with_what_is_read_next(here: Path) -> None:
    held = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line)
        assert "found 'j'" in (await said(line, "j")).problem
        assert not (await said(line, B)).problem
        await line.read("yes")
        await asked(line, B)
        await line.read("yes")

    held.worked(work)


def test_an_answer_without_a_question_is_told_so(here: Path) -> None:
    held = Shop(here, units={"1": Unit(42)})
    held.shift("yes", "No")
    assert held.refused == "nothing was asked; nothing was asked"


def test_an_answer_that_cannot_be_kept_does_not_count(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from benchrig.errors import StationError
    from benchrig.line.journal import LineJournal

    held, write = Shop(here, units={"1": Unit(42)}, plan=ASKS), LineJournal.write

    def full(journal: LineJournal, *events: object) -> None:
        if isinstance(events[0], Answered):
            raise StationError("line.jsonl cannot be written: no space", advice="make room")
        write(journal, *events)  # type: ignore[arg-type]

    monkeypatch.setattr(LineJournal, "write", full)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line)
        await line.read("yes")
        await until(line, lambda view: slot(view).state == "ended")

    view = held.worked(work)
    assert slot(view).word == "STOP"


# --- the end of the shift


def test_the_end_of_the_shift_is_told_while_units_are_tested(here: Path) -> None:
    held = Shop(here, units={"1": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line)
        await line.read("END")
        await until(line, lambda view: view.ends and view.asked is not None)
        await line.read("yes")
        view = await until(line, lambda view: view.asked is None)
        assert view.message == "the shift ends after these units" or view.state == "ended"

    held.worked(work)
    assert held.words == [(A, "PASS")]


# --- a unit that is gone


def test_a_question_about_a_unit_that_is_gone_closes(here: Path) -> None:
    plan = (
        plan_text()
        + "  - connect:\n  - ask: is the lamp green\n    within: 1000 s\nfinally:\n  - connect:\n    name: restore\n"
    )
    held = Shop(here, units={"1": Unit(42)}, plan=plan)

    async def work(line: Line) -> None:
        await line.read(A)
        await asked(line)
        put_file(here, "1", None)
        await until(line, lambda view: view.asked is None)
        await until(line, lambda view: slot(view).step == "the unit is gone: restore")

    view = held.worked(work)
    assert (slot(view).word, held.record(A).cause) == ("FAIL", "link")
    assert slot(view).says.startswith("the link was lost: 9 ask is the lamp green")
    assert not answers(held)


# --- the wires of a slot


def test_a_step_on_the_wires_of_a_slot_is_none_for_slots_that_share_a_radio(here: Path) -> None:
    held = shop(here, plan=plan_text() + "  - power: up\n")
    view = held.shift(A)
    assert "nothing proves that the unit is in that slot" in held.refused
    assert any("slots 1, 2" in note and "'power up'" in note for note in view.notes)
    assert not held.words


def test_the_wires_of_a_slot_with_a_radio_of_its_own_are_its_unit_s(here: Path) -> None:
    held = Shop(here, OWN, {"1": Unit(42)}, plan=plan_text() + "  - power: up\n")
    held.shift(A)
    assert held.words == [(A, "PASS")]
