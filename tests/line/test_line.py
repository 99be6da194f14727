"""A line in memory: labels in, words out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchrig.line.line import Line, LineOptions
from benchrig.line.view import Counts
from tests.line.floor_kit import BADGE, Shop, here, slot, until
from tests.line.units import Unit, plan_text, put_file

__all__ = ["here"]

OWN = {"1": "left", "2": "right"}
A, B = "VFL3-000042", "VFL3-000043"


# --- verdicts


@pytest.mark.parametrize(("battery", "word"), [(90, "PASS"), (20, "FAIL")])
def test_the_word_is_that_of_the_record(here: Path, battery: int, word: str) -> None:
    shop = Shop(here, units={"1": Unit(42, battery=battery)})
    view = shop.shift(A)
    assert (slot(view).word, slot(view).serial, shop.words) == (word, A, [(A, word)])
    assert shop.record(A).verdict == word.lower()
    assert shop.line.exit_code == 0


def test_the_record_says_what_it_was_at_the_line(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    shop.shift(A)
    part = shop.record(A).run.line
    assert part is not None
    assert (part.person, part.product, part.slot, part.purpose) == ("K. Lund", "logger", "1", "unit")
    assert part.shift == shop.state.shift or shop.state.shift == ""


def test_a_failing_step_is_told_in_words(here: Path) -> None:
    view = Shop(here, units={"1": Unit(42, battery=20)}).shift(A)
    assert "read battery level" in slot(view).says
    assert "20" in slot(view).says
    assert "red box" in slot(view).do


def test_an_absent_unit_fails_with_link_and_takes_no_other(here: Path) -> None:
    shop = Shop(here, OWN, {"2": Unit(43)})
    view = shop.shift("1", A)
    assert (slot(view, "1").word, shop.record(A).cause) == ("FAIL", "link")
    assert shop.record(A).unit is None


def test_a_wrong_label_never_passes(here: Path) -> None:
    shop = Shop(here, OWN, {"1": Unit(77)})
    assert slot(shop.shift("1", A)).word == "FAIL"


def test_what_answers_beside_an_only_slot_is_not_taken_for_its_unit(here: Path) -> None:
    """Its unit may be dead, or not there, and the other one lie near."""
    shop = Shop(here, units={"1": Unit(77)})
    assert slot(shop.shift(A)).word == "STOP"


def test_a_unit_that_was_left_in_its_slot_costs_the_next_one_nothing(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    view = shop.shift(A, B)
    assert shop.words == [(A, "PASS"), (B, "STOP")]
    assert view.counts.judged == 1


def test_swapped_units_are_not_judged(here: Path) -> None:
    shop = Shop(here, OWN, {"1": Unit(43), "2": Unit(42)})
    shop.shift("1", A, "2", B)
    assert [word for _, word in shop.words] == ["STOP", "STOP"]


def test_two_slots_each_with_its_own_verdict(here: Path) -> None:
    shop = Shop(here, OWN, {"1": Unit(42), "2": Unit(43, battery=20)})
    view = shop.shift(A, B)
    assert (slot(view, "1").word, slot(view, "2").word) == ("PASS", "FAIL")
    assert (slot(view, "1").serial, slot(view, "2").serial) == (A, B)


def test_a_broken_device_file_is_told_and_judges_nothing(here: Path) -> None:
    view = Shop(here, units={"1": "device: 3\n"}).shift(A)
    assert slot(view).word == "STOP"
    assert "simulated unit" in slot(view).says


# --- slots that share a radio


def test_the_word_of_a_shared_radio_is_shown_when_the_label_is_scanned_again(here: Path) -> None:
    shop = Shop(here, ("1", "2"), {"1": Unit(42), "2": Unit(43, battery=20)})

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: slot(view).state == "ended")
        assert (slot(view).word, slot(view).release) == ("", True)
        assert [last.word for last in view.last] == [""]
        await line.read(B)
        await until(line, lambda view: slot(view, "2").state == "ended")
        await line.read(A)
        view = await until(line, lambda view: not slot(view).release)
        assert slot(view).word == "PASS"

    shop.worked(work)


# --- labels


def test_what_fits_no_product_is_refused_in_words(here: Path) -> None:
    shop = Shop(here)
    shop.shift("XYZ")
    assert "no product" in shop.refused


@pytest.mark.parametrize("text", ["VFL3-\x03000042", "VFL3-" + "0" * 10_000])
def test_an_odd_label_is_refused_and_nothing_is_lost(here: Path, text: str) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    shop.shift(text, A)
    assert shop.words == [(A, "PASS")]


def test_a_label_that_is_read_while_its_slot_is_taken_waits(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml")
    for number in (42, 43, 44):
        _unit(here, Unit(number))
    shop.shift(A, B, "VFL3-000044")
    assert [word for _, word in shop.words] == ["PASS"] * 3


def test_a_slot_may_be_named_first(here: Path) -> None:
    shop = Shop(here, OWN, {"2": Unit(42)})
    assert slot(shop.shift("SLOT 2", A), "2").word == "PASS"


def _unit(folder: Path, unit: Unit) -> None:
    (folder / "units").mkdir(exist_ok=True)
    (folder / "units" / f"{unit.serial}.yaml").write_text(unit.text, encoding="utf-8")


# --- again


RETEST = "retest: {most: 1, causes: [limit, device]}\n"


def test_the_first_result_stands(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42, battery=20)}, more=RETEST)

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: slot(view).word == "FAIL")
        assert "RETEST" in slot(view).do
        put_file(here, "1", Unit(42))
        await line.read("RETEST")
        await line.read(A)
        await until(line, lambda view: slot(view).word == "PASS")

    counts = shop.worked(work).counts
    assert (counts.judged, counts.failed_first, counts.passed_first, counts.retests) == (1, 1, 0, 1)
    first, again = reversed(shop.state.last)
    part = shop.record(A).run.line
    assert part is not None
    assert (part.first, part.again, again.began.purpose) == (first.ended.run_id, 1, "retest")


def test_a_unit_that_failed_is_not_tested_again_without_the_word(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42, battery=20)}, more=RETEST)
    shop.shift(A, A)
    assert len(shop.words) == 1
    assert "failed today" in shop.refused


def test_a_unit_that_passed_is_refused(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    shop.shift(A, A)
    assert (len(shop.words), "passed today" in shop.refused) == (1, True)


# --- the station


GOLDEN = "references:\n  golden:\n    label: VFL3-000001\n    slots: any\n"
BAD = GOLDEN + "  bad one:\n    label: VFL3-000002\n    fails: read battery level\n    slots: any\n"


def test_a_line_is_locked_until_its_station_is_checked(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml", more=BAD)
    for unit in (Unit(1), Unit(2, battery=20), Unit(42)):
        _unit(here, unit)
    shop.shift(A, "VFL3-000001", "VFL3-000002")
    assert shop.words == [("VFL3-000001", "PASS"), ("VFL3-000002", "FAIL"), (A, "PASS")]
    assert (shop.line.exit_code, shop.state.counts.judged) == (0, 1)


@pytest.mark.parametrize(("good", "bad"), [(20, 20), (90, 90)])
def test_a_reference_that_does_not_do_what_it_must_locks_the_line(here: Path, good: int, bad: int) -> None:
    shop = Shop(here, unit="units/{serial}.yaml", more=BAD)
    for unit in (Unit(1, battery=good), Unit(2, battery=bad), Unit(42)):
        _unit(here, unit)
    view = shop.shift("VFL3-000001", "VFL3-000002", A)
    assert A not in [unit for unit, _ in shop.words]
    assert "STOP" in [word for _, word in shop.words]
    assert (view.waiting, shop.line.exit_code) == ((A,), 7)


def test_limits_that_a_golden_unit_passes_more_easily_keep_the_line_locked(here: Path) -> None:
    head = "limit_set: golden\nplan: a check of a cold chain logger\nversion: 1\nowner: Q\nreason: tried\n"
    (here / "golden.yaml").write_text(head + "limits: {read battery level: {value: {min: 10 %}}}\n")
    more = GOLDEN.replace("slots", "limits: golden.yaml\n    slots")
    shop = Shop(here, units={"1": Unit(1, battery=20)}, more=more)
    shop.shift("VFL3-000001", A)
    assert "'read battery level', value: min 10 % goes below min 50 %" in shop.refused
    assert (shop.words, shop.line.exit_code) == ([], 7)


BATTERY_FIRST = plan_text().replace(
    "name: who begins", "name: who begins\n  - read: battery level\n    expect: {value: {min: 50 %}}", 1
)


@pytest.mark.parametrize(
    ("there", "word"),
    [(Unit(2, battery=20), "FAIL"), (Unit(77, battery=20), "STOP"), (Unit(77, battery=20, tells_serial=False), "STOP")],
    ids=["itself", "another one", "one that says nothing"],
)
def test_another_bad_unit_is_not_the_known_bad_one(here: Path, there: Unit, word: str) -> None:
    """It fails in the right step, and shows nothing: nobody knows how it fails."""
    shop = Shop(here, OWN, {"1": there}, plan=BATTERY_FIRST, more="references:\n" + BAD.removeprefix(GOLDEN))
    shop.shift("1", "VFL3-000002")
    assert shop.words == [("VFL3-000002", word)]
    assert shop.line.exit_code == (0 if word == "FAIL" else 7)


def test_equal_failures_stop_the_line_until_somebody_clears_it(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml", more="stop: {equal_failures: 2}\npeople: 'P-\\d{4}'\n")
    for number in (42, 43, 44):
        _unit(here, Unit(number, battery=20))

    async def work(line: Line) -> None:
        for label in (A, B, "VFL3-000044"):
            await line.read(label)
        view = await until(line, lambda view: view.state == "stopped")
        assert "failed alike" in view.message
        await line.read("CLEAR")
        await until(line, lambda view: view.asked is not None)
        await line.read(BADGE)
        await until(line, lambda view: len(view.last) == 3)

    shop.worked(work)
    assert shop.line.exit_code == 0


def test_a_plan_that_is_not_approved_is_refused_with_both_hashes(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    (here / "plan.yaml").write_text(plan_text(scan="600 ms"), encoding="utf-8")
    shop.shift(A)
    assert re.search("expected SHA-256 [0-9a-f]{64}, found [0-9a-f]{64}", shop.refused)
    assert not shop.words


def test_a_changed_station_file_is_used_once_acknowledged(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})

    async def work(line: Line) -> None:
        shop.write("takt: 30 s\n")
        await line.read(A)
        view = await until(line, lambda view: view.asked is not None)
        assert "was changed" in view.asked.text
        assert view.takt is None
        await line.read("yes")
        await until(line, lambda view: slot(view).word == "PASS")

    assert shop.worked(work).takt == 30


# --- people


def test_nothing_is_tested_before_somebody_is_on_shift(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, more="people: 'P-\\d{4}'\n", options=LineOptions(reports=()))

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: view.waiting == (A,))
        assert view.state == "person"
        await line.read(BADGE)
        await until(line, lambda view: slot(view).word == "PASS")

    assert shop.worked(work).person == BADGE or shop.words == [(A, "PASS")]


CAUTION = plan_text().replace("device:\n", "caution: keep away from the siren\ndevice:\n", 1)


def test_a_caution_of_a_plan_that_writes_nothing_is_not_asked(here: Path) -> None:
    options = LineOptions(person="K. Lund", reports=())
    shop = Shop(here, units={"1": Unit(42)}, plan=CAUTION, options=options)
    shop.shift(A)
    assert shop.words == [(A, "PASS")]


ASKS = plan_text() + "  - ask: is the lamp green\n    name: the lamp\n    expect: {answer: {equals: true}}\n"


@pytest.mark.parametrize(("answer", "word"), [("yes", "PASS"), ("n", "FAIL")])
def test_a_question_of_the_plan_is_answered_at_the_line(here: Path, answer: str, word: str) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: view.asked is not None)
        assert (view.asked.slot, view.asked.options) == ("1", ("yes", "no"))  # type: ignore[union-attr]
        await line.read(answer)
        await until(line, lambda view: slot(view).word == word)

    shop.worked(work)


def test_a_label_that_is_scanned_into_a_question_is_a_unit(here: Path) -> None:
    shop = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=ASKS.replace("ask:", "ask:").replace("kind", "kind"))

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: view.asked is not None)
        await line.read(B)
        await until(line, lambda view: slot(view, "2").serial == B)
        await line.read("yes")
        await until(line, lambda view: view.asked is not None and view.asked.slot == "2")
        await line.read("yes")

    shop.worked(work)
    assert [word for _, word in shop.words] == ["PASS", "PASS"]


ASKS_TEXT = plan_text() + "  - ask: number of the seal\n    kind: text\n    expect: {answer: {matches: .+}}\n"


@pytest.mark.parametrize("text", ["1", "2", "SLOT 2"])
@pytest.mark.parametrize("plan", [ASKS, ASKS_TEXT], ids=["yes or no", "text"])
def test_where_the_next_unit_goes_is_no_answer(here: Path, text: str, plan: str) -> None:
    """A lamp that nobody looked at is not green; a slot that is only a number may be what is asked for."""
    shop = Shop(here, OWN, {"1": Unit(42)}, plan=plan)

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: view.asked is not None)
        await line.read(text)
        await line.read("END")
        await until(line, lambda view: view.message.startswith("slot") or view.asked is None)

    shop.worked(work)
    is_answer = plan is not ASKS and "SLOT" not in text
    assert [word for _, word in shop.words] == ["PASS" if is_answer else "STOP"]


def test_a_step_that_asks_begins_when_it_is_its_turn(here: Path) -> None:
    """What the operator needs for the unit in another slot is no time of this one."""
    shop = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=ASKS)

    async def work(line: Line) -> None:
        await line.read(A)
        await line.read(B)
        view = await until(line, lambda view: [each.done for each in view.slots] == [7, 7] and view.asked is not None)
        assert sorted(each.step == "the lamp" for each in view.slots) == [False, True]
        first = view.asked.slot  # type: ignore[union-attr]
        await line.read("yes")
        await until(line, lambda view: view.asked is not None and view.asked.slot != first)
        await line.read("yes")

    shop.worked(work)
    assert [word for _, word in shop.words] == ["PASS", "PASS"]


# --- the end


def test_an_interrupted_unit_is_not_judged_and_its_record_whole(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=plan_text(scan="100 s"))

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).state == "running")
        line.interrupt()

    shop.worked(work)
    assert (shop.words, shop.line.exit_code) == ([(A, "STOP")], 2)
    assert shop.record(A).cause == "operator"


def test_end_leaves_what_waits(here: Path) -> None:
    shop = Shop(here, unit="units/{serial}.yaml")
    for number in (42, 43):
        _unit(here, Unit(number))
    view = shop.shift(A, B, "END")
    assert (shop.words, view.waiting, view.state) == ([(A, "PASS")], (B,), "ended")
    assert shop.line.exit_code == 0


def test_a_label_of_a_unit_in_another_slot_is_refused_there(here: Path) -> None:
    shop = Shop(here, ("1", "2"), {"1": Unit(42), "2": Unit(77)})
    view = shop.shift("SLOT 1", A, "SLOT 2", A)
    assert "is in slot 1" in shop.refused
    assert (slot(view, "1").release, slot(view, "2").state) == (True, "empty")


def test_what_is_taken_out_under_a_label_of_two_units_is_no_pass(here: Path) -> None:
    """Of slots that share a radio: nobody can tell which of the two it is."""
    shop = Shop(here, ("1", "2"), {"1": Unit(77), "2": Unit(42)})

    async def work(line: Line) -> None:
        for text in ("SLOT 1", A):
            await line.read(text)
        await until(line, lambda view: slot(view).release)
        for text in ("SLOT 2", A, A):
            await line.read(text)
        view = await until(line, lambda view: slot(view).word != "")
        assert (slot(view).word, slot(view).says) == ("STOP", "two units have this label")
        assert [last.word for last in view.last] == ["STOP"]

    shop.worked(work)
    assert shop.state.counts == Counts(not_judged=1)
