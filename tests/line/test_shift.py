"""What the events of a line add up to, after each of them."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from msgspec import structs

from benchrig.line.events import (
    AnyLineEvent,
    CautionRead,
    CleanedUp,
    ClockBack,
    CutOff,
    FileChanged,
    LineCleared,
    LineStopped,
    PersonCame,
    ReferenceChecked,
    ShiftBegan,
    ShiftEnded,
    ToldStation,
    UnitBegan,
    UnitEnded,
    Withheld,
)
from benchrig.line.shift import ShiftState, folded
from benchrig.line.view import Counts
from tests.line.events import at, began, done, ended, histories, shift


def state(*parts: Iterable[AnyLineEvent]) -> ShiftState:
    return folded([shift(), *(event for part in parts for event in part)])


def test_a_unit_that_passes_and_one_that_fails():
    assert state(done("1"), done("2", "FAIL")).counts == Counts(judged=2, passed_first=1, failed_first=1)


def test_the_first_result_counts_and_a_retest_is_a_retest():
    after = state(done("1", "FAIL", "A", cause="link"), done("2", "PASS", "A", "retest"))
    assert after.counts == Counts(judged=1, failed_first=1, retests=1)
    assert after.counts.first_pass == 0
    known = after.known("logger", "A")
    assert known is not None
    assert (known.first.word, known.last.word, known.first.run_id, known.tests) == ("FAIL", "PASS", "run 1", 2)


def test_a_unit_that_was_stopped_is_not_judged_until_it_is():
    stopped = state(done("1", "STOP", "A"))
    assert stopped.counts == Counts(not_judged=1)
    assert stopped.known("logger", "A") is None
    for event in done("2", "PASS", "A"):
        stopped.add(event)
    assert stopped.counts == Counts(judged=1, passed_first=1)


def test_a_known_unit_that_is_stopped_stays_judged():
    assert state(done("1", "FAIL", "A"), done("2", "STOP", "A", "retest")).counts == Counts(judged=1, failed_first=1)


def test_units_that_were_stopped_are_those_of_the_shift():
    assert state(done("1", "STOP", "A"), [shift(600, "2")]).counts == Counts()


@pytest.mark.parametrize("purpose", ["golden", "known bad", "clean-up"])
@pytest.mark.parametrize("word", ["PASS", "FAIL", "STOP"])
def test_what_checks_the_station_counts_nowhere(purpose, word):
    after = state(done("1", word, "A", purpose))
    assert after.counts == Counts()
    assert not after.units
    assert not after.alike


@pytest.mark.parametrize(
    ("word", "verdict", "cause"),
    [
        ("PASS", "fail", "limit"),
        ("PASS", None, None),
        ("FAIL", "error", "link"),
        ("FAIL", "fail", "station"),
        ("FAIL", "pass", None),
    ],
)
def test_a_word_that_the_run_does_not_bear_out_judges_nothing(word, verdict, cause):
    after = state(done("1", word, verdict=verdict, cause=cause))
    assert after.counts == Counts(not_judged=1)


def test_an_end_without_a_begin_and_a_second_end_are_nothing():
    assert state([ended("1")]).counts == Counts()
    assert state(done("1", "FAIL"), [ended("1")]).counts == Counts(judged=1, failed_first=1)


def test_simulated_units_are_not_real_ones():
    after = folded([shift(simulated=True), *done("1", "FAIL", "A"), shift(name="2")])
    assert after.known("logger", "A") is None
    assert after.counts == Counts()


def test_the_same_serial_number_of_two_products_is_two_units():
    after = state(done("1", "PASS", "A"), done("2", "FAIL", "A", product="box"))
    assert after.counts == Counts(judged=2, passed_first=1, failed_first=1)


def test_a_new_shift_counts_anew_and_knows_the_units():
    after = state(
        done("1", "FAIL", "A", cause="link"), [ShiftEnded(at=at(9)), shift(600, "2")], done("2", "PASS", "A", "retest")
    )
    assert after.counts == Counts(retests=1)
    assert after.shift == "2"


def test_repair_gives_the_retests_back():
    after = state(done("1", "FAIL", "A"), done("2", "FAIL", "A", "retest"), done("3", "FAIL", "A", "repaired"))
    known = after.known("logger", "A")
    assert known is not None
    assert (known.retests, known.repairs, known.tests) == (0, 1, 3)


# --- the power cut


def test_a_unit_that_was_cut_off_is_not_tested_and_waits_for_its_clean_up():
    open_ = state(done("1", "PASS", "A")[:2])
    assert [*open_.open] == ["1"]
    open_.add(CutOff(at=at(5), key="1"))
    assert (open_.counts, [*open_.open], [*open_.uncleaned]) == (Counts(), [], ["1"])
    open_.add(ended("1"))
    assert open_.counts == Counts()
    open_.add(CleanedUp(at=at(6), key="1", person="P", ok=True))
    assert not open_.uncleaned


def test_nothing_is_to_be_cleaned_up_before_a_run():
    assert not state([began("1"), CutOff(at=at(), key="1")]).uncleaned


# --- in a row


def test_errors_of_the_station_in_a_row_are_ended_by_a_verdict():
    three = [*done("1", "STOP"), *done("2", "STOP", cause="internal"), *done("3", "STOP", purpose="golden")]
    assert state(three).station_errors == 3
    assert state(three, done("4", "FAIL")).station_errors == 0
    assert state(three, done("4", "STOP", cause="operator")).station_errors == 3


def test_a_command_that_fails_after_each_unit_is_in_a_row_though_the_units_pass():
    told = [event for key in "123" for event in [*done(key), ToldStation(at=at(), key=key, ok=False)]]
    assert state(told).untold == 3
    assert state(told, [ToldStation(at=at(), key="3", ok=True)]).untold == 0


def alike(after: ShiftState) -> dict[str, tuple[str, ...]]:
    return {product: units for product, (_, units) in after.alike.items()}


def test_equal_failures_are_those_of_different_units():
    fails = [event for key in "123" for event in done(key, "FAIL", step="read")]
    assert alike(state(fails)) == {"logger": ("1", "2", "3")}
    again = [event for key in "456" for event in done(key, "FAIL", "1", "retest", step="read")]
    assert alike(state(done("1", "FAIL", step="read"), again)) == {"logger": ("1",)}


def test_another_step_another_reading_and_a_pass_end_the_row():
    first = done("1", "FAIL", step="read", reading="value")
    for other in (done("2", "FAIL", step="scan", reading="value"), done("2", "FAIL", step="read", reading="rssi")):
        assert alike(state(first, other)) == {"logger": ("2",)}
    assert alike(state(first, done("2"))) == {}


def test_units_of_another_product_and_retests_that_pass_do_not():
    row = [*done("1", "FAIL", step="read"), *done("2", "PASS", product="box"), *done("3", "PASS", "1", "retest")]
    assert alike(state(row, done("4", "FAIL", step="read"))) == {"logger": ("1", "4")}


def test_a_stop_lasts_over_shifts_and_is_cleared_with_its_rows():
    stopped = state(done("1", "STOP"), [LineStopped(at=at(), why="errors"), ShiftEnded(at=at()), shift(9, "2")])
    assert (stopped.stopped, stopped.station_errors) == ("errors", 1)
    stopped.add(LineCleared(at=at(10), person="P-2"))
    assert (stopped.stopped, stopped.station_errors) == ("", 0)
    assert not state(done("1", "FAIL"), [LineCleared(at=at(), person="P-2")]).alike


# --- checks and cautions


@pytest.mark.parametrize(
    "event", [shift(5, "2"), FileChanged(at=at(), old="a", new="b", taken=True), ClockBack(at=at(), before=at(9))]
)
def test_what_makes_a_check_of_the_station_due_again(event):
    checked = state([ReferenceChecked(at=at(), name="golden", slot="1", ok=True)])
    assert checked.checked
    checked.add(event)
    assert not checked.checked


def test_a_changed_file_that_nobody_has_acknowledged_changes_nothing():
    checked = state(
        [ReferenceChecked(at=at(), name="golden", slot="1", ok=True), FileChanged(at=at(), old="a", new="b")]
    )
    assert (len(checked.checked), checked.station_hash) == (1, "a")


def test_cautions_are_read_once_a_shift_and_person():
    read = state([CautionRead(at=at(), person="P-0001", plan_hash="h"), PersonCame(at=at(), person="P-2")])
    assert ("P-0001", "h") in read.cautions
    assert (read.person, "h") not in read.cautions
    read.add(shift(9, "2"))
    assert not read.cautions


# --- verdicts that nobody was given


def test_a_first_verdict_that_nobody_was_given_is_none():
    after = state(done("1"), done("2", "FAIL"))
    after.add(Withheld(at=at(), key="1", slot="1", why="another unit is there"))
    assert after.counts == Counts(judged=1, passed_first=0, failed_first=1, not_judged=1)
    assert after.known("logger", "1") is None
    assert [(test.ended.word, test.ended.judged) for test in after.last] == [("FAIL", True), ("STOP", False)]


def test_a_retest_that_nobody_was_given_leaves_what_was_known():
    before = state(done("1", "FAIL", "A"))
    after = state(done("1", "FAIL", "A"), done("2", "PASS", "A", "retest"))
    after.add(Withheld(at=at(), key="2", slot="1", why="another unit is there"))
    assert (after.counts, after.units) == (before.counts, before.units)


# --- any history


@given(histories())
@settings(max_examples=100)
def test_after_any_prefix_the_counts_are_those_of_a_plain_count(events):
    state = ShiftState()
    for number, event in enumerate(events, start=1):
        state.add(event)
        assert state.counts == counted(events[:number])
        assert set(state.open).isdisjoint(state.uncleaned)
        assert state.latest == event.at


def counted(events: list[AnyLineEvent]) -> Counts:
    """Once more in the plainest way: all ends of the file, then those of the last shift."""
    shifts = [place for place, event in enumerate(events) if isinstance(event, ShiftBegan)]
    open_, results, simulated = dict[str, UnitBegan](), list[tuple[int, tuple[object, ...], UnitEnded]](), False
    said = dict[str, int]()
    for place, event in enumerate(events):
        match event:
            case ShiftBegan():
                simulated = event.simulated
                said.clear()
            case Withheld() if event.key in said:
                at_, unit, end = results[said.pop(event.key)]
                [*_, last] = [number for number, each in enumerate(results) if each[1] == unit and each[2].judged]
                if results[last][0] == at_:
                    results[last] = (at_, unit, structs.replace(end, word="STOP"))
            case UnitBegan():
                open_[event.key] = event
            case CutOff():
                open_.pop(event.key, None)
            case UnitEnded() if event.key in open_:
                test = open_.pop(event.key)
                if test.purpose in ("unit", "retest", "repaired"):
                    results.append((place, (simulated, test.product, test.unit), event))
                    said |= {event.key: len(results) - 1} if event.judged else {}
    judged = [(place, unit, end) for place, unit, end in results if end.judged]
    firsts = {unit: (place, end) for place, unit, end in reversed(judged)}
    since = shifts[-1] if shifts else -1
    mine = [end for place, end in firsts.values() if place > since]
    passed = sum(end.word == "PASS" for end in mine)
    retests = sum(place > since and firsts[unit][0] != place for place, unit, _ in judged)
    stopped = {unit for place, unit, end in results if place > since and unit not in firsts}
    return Counts(len(mine), passed, len(mine) - passed, len(stopped), retests)
