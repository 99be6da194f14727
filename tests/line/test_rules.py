"""Which unit is tested, when the line stops, which checks of the station are due, what they show."""

from __future__ import annotations

from datetime import timedelta

import pytest

from benchrig.errors import Cause
from benchrig.line.barcode import Match
from benchrig.line.events import LineCleared, ReferenceChecked, ShiftEnded, ToldStation
from benchrig.line.rules import Allowed, NotAllowed, clock_was_set_back, continues, due, may_be_tested, shown, stop_now
from benchrig.line.shift import folded
from benchrig.record.events import (
    FORMAT,
    PlannedLimits,
    PlannedNode,
    RunEnded,
    RunStarted,
    Verdict,
    Where,
)
from benchrig.record.model import Execution, Record
from benchrig.station.checks import Reference
from benchrig.station.products import Product
from benchrig.station.rules import Retests, Stops
from benchrig.station.slots import SlotSpec
from benchrig.station.station import Station
from benchrig.values.pattern import Regex
from benchrig.values.quantity import Duration
from tests.line.events import at, began, done, shift

GOLDEN = Reference("G", limits="tight.yaml", every=Duration.of(3600))
KNOWN_BAD = Reference("B", fails="read battery", slots="any")
STATION = Station(
    "line 3",
    slots={"1": SlotSpec(), "2": SlotSpec()},
    references={"golden": GOLDEN, "worn": KNOWN_BAD},
    retest=Retests(2, ["link"]),
)
A = Match("A", "logger", {"serial": "A"})


def asked(events, word="", minutes=60.0, match=A):
    return may_be_tested(folded([shift(), *events]), STATION, match, at(minutes), word)


def why(found) -> str:
    assert isinstance(found, NotAllowed), found
    assert found.do
    return found.why


LINK = done("1", "FAIL", "A", cause="link", step="scan")
LIMIT = done("1", "FAIL", "A", step="read")


@pytest.mark.parametrize("word", ["", "RETEST", "REPAIRED"])
def test_a_unit_that_nobody_has_judged_is_tested(word):
    assert asked([], word) == asked(done("1", "STOP", "A"), word) == Allowed()


def test_a_unit_that_passed_is_not_tested_again():
    assert why(asked(done("1", "PASS", "A"))) == "A passed today at 06:01"
    assert why(asked(done("1", "PASS", "A"), "RETEST")) == "A passed today at 06:01"
    assert why(asked(done("1", "PASS", "A"), minutes=60 * 24)) == "A passed on 2026-11-27 at 06:01"


def test_the_last_result_decides_what_is_said():
    passed = [*LINK, *done("2", "PASS", "A", "retest")]
    assert why(asked(passed, "RETEST")) == "A passed today at 06:01"
    failed = [*done("1", "PASS", "A"), *done("2", "FAIL", "A", "repaired", cause="link")]
    assert why(asked(failed)) == "A failed today at 06:01 (link)"


def test_after_a_repair_it_is():
    for word in ("PASS", "FAIL"):
        again = Allowed("repaired", "run 1", 1, "repaired, test 2 of this unit", word)
        assert asked(done("1", word, "A"), "REPAIRED") == again


def test_a_unit_that_was_another_product_before_is_told():
    products = {name: Product(Regex("A"), "plan.yaml") for name in ("logger", "box")}
    state = folded([shift(), *done("1", "FAIL", "A", product="box", step="read")])
    found = may_be_tested(state, Station("a", products=products), A, at(9))
    assert found == Allowed(note="A failed today at 06:01 in 'read' (limit), as 'box'")


def test_a_retest_is_asked_for_by_its_word():
    found = asked(LINK)
    assert why(found) == "A failed today at 06:01 in 'scan' (link)"
    assert isinstance(found, NotAllowed)
    assert found.do == "scan RETEST and then its label (retest 1 of 2); once it was repaired, scan REPAIRED first"
    assert asked(LINK, "RETEST") == Allowed("retest", "run 1", 1, "retest 1 of 2", "FAIL")


def test_retests_are_counted_and_a_repair_gives_them_back():
    once = [*LINK, *done("2", "FAIL", "A", "retest", cause="link")]
    twice = [*once, *done("3", "FAIL", "A", "retest", cause="link")]
    assert asked(once, "RETEST") == Allowed("retest", "run 1", 2, "retest 2 of 2", "FAIL")
    assert why(asked(twice, "RETEST")) == "A failed today at 06:01 (link), and its 2 retests are used up"
    repaired = [*twice, *done("4", "FAIL", "A", "repaired", cause="link")]
    assert asked(repaired, "RETEST") == Allowed("retest", "run 1", 4, "retest 1 of 2", "FAIL")


def test_a_retest_that_was_not_judged_is_not_used_up():
    stopped = [event for key in "23456" for event in done(key, "STOP", "A", "retest")]
    assert asked([*LINK, *stopped], "RETEST") == Allowed("retest", "run 1", 1, "retest 1 of 2", "FAIL")


def test_the_last_cause_decides():
    assert "not tested again after a failure of cause limit" in why(asked(LIMIT, "RETEST"))
    later = [*LINK, *done("2", "FAIL", "A", "retest", cause="limit")]
    assert "not tested again after a failure of cause limit" in why(asked(later, "RETEST"))


def test_a_station_without_retests_has_none():
    found = may_be_tested(folded([shift(), *LINK]), Station("a"), A, at(9), "RETEST")
    assert isinstance(found, NotAllowed)


def test_a_unit_is_in_one_slot_at_a_time():
    assert why(asked([began("1", "A")])) == "A is being tested in slot 1"


def test_references_are_tested_as_often_as_somebody_likes():
    for name, purpose in (("golden", "golden"), ("worn", "known bad")):
        match = Match("A", "logger", {"serial": "A"}, name)
        assert asked(done("1", "PASS", "A", purpose), match=match) == Allowed(purpose)


# --- when the line stops


def stops(events, station_errors=3, equal_failures=3) -> str:
    return stop_now(folded([shift(), *events]), Stops(station_errors, equal_failures))


def several(keys: str, word, **more):
    return [event for key in keys for event in done(key, word, **more)]


def test_a_line_stops_after_errors_of_the_station():
    assert stops(several("12", "STOP", message="no adapter")) == ""
    said = stops(several("123", "STOP", message="no adapter"))
    assert said == "3 errors of the station, one after the other: no adapter"
    assert stops([*several("123", "STOP"), LineCleared(at=at(), person="P")]) == ""
    assert stops(several("123456", "STOP", cause="operator")) == ""


def test_and_after_a_command_that_fails_after_each_unit():
    told = [ToldStation(at=at(), key=key, ok=False) for key in "123"]
    assert stops(told[:2]) == ""
    assert stops(told) == "the command after a unit failed 3 times, one after the other"


def test_and_after_equal_failures():
    assert stops(several("12", "FAIL", step="read")) == ""
    said = "3 units of the product 'logger' failed alike, one after the other: 'read', reading value"
    assert stops(several("123", "FAIL", step="read", reading="value")) == said
    assert stops(several("123", "FAIL", step="read", unit="A")) == ""
    assert stops(several("123", "FAIL")).endswith("one after the other: in no step of the plan")


# --- checks of the station


def checks(*events):
    """What is due an hour after the shift began: name and slot."""
    return [(each.name, each.slot) for each in due(folded([shift(), *events]), STATION, at(60))]


def checked(name: str, slot: str, minutes: float, *, ok: bool = True) -> ReferenceChecked:
    return ReferenceChecked(at=at(minutes), name=name, slot=slot, ok=ok, why="" if ok else "w")


ALL = (("golden", "1"), ("golden", "2"), ("worn", ""))
GOOD = (checked("golden", "1", 30), checked("golden", "2", 30), checked("worn", "2", 30))


def test_all_are_due_at_the_start_of_a_shift():
    assert checks() == [*ALL]
    assert checks(*GOOD) == []
    assert checks(*GOOD, ShiftEnded(at=at(50)), shift(55, "2")) == [*ALL]


def test_one_that_fails_is_due_until_it_does_not():
    assert checks(*GOOD, checked("golden", "1", 40, ok=False)) == [("golden", "1")]
    assert checks(*GOOD, checked("golden", "1", 40, ok=False), checked("golden", "1", 41)) == []


def test_any_slot_will_do_where_the_station_says_so_and_the_newest_counts():
    assert checks(*GOOD, checked("worn", "1", 31, ok=False)) == [("worn", "")]


def test_one_is_due_after_its_time():
    assert checks(checked("golden", "1", 0), *GOOD[1:]) == [("golden", "1")]
    assert checks(checked("golden", "1", 0.1), *GOOD[1:]) == []


def test_all_are_due_once_the_clock_was_set_back():
    state = folded([shift(), *GOOD])
    assert {each.why for each in due(state, STATION, at(29))} == {"the clock of this computer was set back"}
    assert clock_was_set_back(state, at(29))
    assert not clock_was_set_back(state, at(30) - timedelta(seconds=1))


# --- what a check shows


def record(
    verdict: Verdict | None = "pass",
    cause: Cause | None = None,
    root: str = "",
    *,
    limits: str = "tight.yaml",
    left_out: int = 0,
) -> Record:
    nodes = [PlannedNode("1", "scan", "scan", "p:1"), PlannedNode("2", "read battery", "read", "p:2")]
    planned = PlannedLimits("tight", "1", "Q", "r", limits, "ab") if limits else None
    run = RunStarted(
        FORMAT, "r", "2026-11-27T06:00:00Z", "plan", "p", "h", "line 3", "host", False, nodes, {}, limit_set=planned, left_out=left_out
    )  # fmt: skip
    end = RunEnded(1, verdict, 0, 1, cause, Where(root) if root else None, "why") if verdict else None
    return Record(run, [Execution(node, Where(node.id)) for node in nodes], ended=end)


def test_a_golden_unit_passes_with_its_limit_set():
    assert shown(GOLDEN, record()) == ""
    assert shown(Reference("G"), record(limits="")) == ""


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (record("fail", "limit", "2"), "expected that the golden unit passes, found: why"),
        (record("error", "station"), "expected that the golden unit passes, found: why"),
        (record(limits="other.yaml"), "the golden unit was tested without its limit set tight.yaml"),
        (record(limits=""), "the golden unit was tested without its limit set tight.yaml"),
        (record(left_out=1), "1 step of the plan was left out"),
        (record(None), "the unit was not tested to the end"),
        (None, "the unit was not tested to the end"),
    ],
)
def test_anything_else_is_no_check(found, said):
    assert shown(GOLDEN, found) == said


@pytest.mark.parametrize("cause", ["limit", "device"])
def test_a_known_bad_unit_fails_where_it_must(cause):
    assert shown(KNOWN_BAD, record("fail", cause, "2")) == ""
    assert shown(Reference("B", fails="2"), record("fail", cause, "2")) == ""


EXPECTED = "expected that the known-bad unit fails in 'read battery'"


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (record(), f"{EXPECTED}, found the verdict pass"),
        (record("error", "station", "2"), f"{EXPECTED}, found the verdict error (why)"),
        (record("skip", "plan", "2"), f"{EXPECTED}, found the verdict skip (why)"),
        (record("fail", "link", "2"), f"{EXPECTED} by limit or device, found the cause link: why"),
        (record("fail", "limit", "1"), f"{EXPECTED}, found a failure in 'scan': why"),
        (record("fail", "device"), f"{EXPECTED}, found a failure in no step: why"),
        (record("fail", "limit", "2", left_out=2), "2 steps of the plan were left out"),
        (None, "the unit was not tested to the end"),
    ],
)
def test_a_known_bad_unit_that_fails_otherwise_shows_nothing(found, said):
    assert shown(KNOWN_BAD, found) == said


# --- shifts


def goes_on(events, person="P-0001", minutes=60.0, *, simulated=False, station_hash="a") -> bool:
    return continues(folded(events), person, at(minutes), simulated=simulated, station_hash=station_hash)


OPEN = [shift(), *done("1")]


def test_a_shift_continues_after_a_power_cut_for_the_same_person_on_the_same_day():
    assert goes_on(OPEN)
    assert goes_on(OPEN, minutes=12 * 60)
    assert not goes_on(OPEN, minutes=12 * 60 + 1)
    assert not goes_on(OPEN, minutes=-60)


def test_another_person_radio_or_station_file_begins_a_new_one():
    assert not goes_on(OPEN, "P-0002")
    assert not goes_on(OPEN, simulated=True)
    assert not goes_on(OPEN, station_hash="b")


def test_a_shift_that_was_ended_does_not_continue():
    assert not goes_on([shift(), ShiftEnded(at=at(1))])
    assert not goes_on([])
