"""Yield: who counts, first and in the end, in which group, and what failed; worked out by hand."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from benchrig.errors import UsageError
from benchrig.figures.yields import Apart, YieldFigure, yields_of
from benchrig.history.entry import Entry
from benchrig.history.questions.filters import Filters
from tests.history.questions.kit import BEGIN, entry, history_of


def yields(
    folder: Path, runs: list[Entry], filters: Filters | None = None, by: tuple[str, ...] = (), **how: bool
) -> list[YieldFigure]:
    with history_of(folder, runs) as history:
        return yields_of(history, filters or Filters(), by, **how)


def only(folder: Path, runs: list[Entry], filters: Filters | None = None, by: tuple[str, ...] = ()) -> YieldFigure:
    (figure,) = yields(folder, runs, filters, by)
    return figure


def fails(number: int, unit: str, step: str = "read voltage", reading: str = "value", **more: object) -> Entry:
    return entry(number, unit=unit, verdict="fail", step=step, reading=reading, **more)  # type: ignore[arg-type]


DAY = [
    entry(1, unit="A"),
    fails(2, "B"),
    fails(3, "C", "scan", "rssi"),
    entry(4, unit="B"),
    fails(5, "C", firmware="1.1"),
    entry(6, unit="D"),
    entry(7, unit="D", verdict="error", cause="station"),
    fails(8, "E", cause="link", reading=""),
    entry(9, unit="C", firmware="1.2"),
    entry(10, unit="F", verdict="cut off"),
    entry(11, unit="G", left_out=2),
    entry(12, unit="H", study="gauge 1", verdict="fail"),
    entry(13, unit="I", verdict="not all judged", cause="plan"),
]


def test_first_pass_and_final(tmp_path: Path) -> None:
    figure = only(tmp_path, DAY)
    assert (figure.runs, figure.units, figure.simulated) == (8, 5, False)
    assert (figure.first_pass.passed, figure.first_pass.of) == (2, 5)
    assert (figure.final.passed, figure.final.of) == (4, 5)
    assert figure.apart == [
        Apart("cause station", 1), Apart("cut off", 1), Apart("gauge study", 1), Apart("not all judged", 1),
        Apart("partial", 1),
    ]  # fmt: skip
    assert (figure.since, figure.until) == (BEGIN + timedelta(minutes=1), BEGIN + timedelta(minutes=9))


def test_what_failed_in_the_order_of_count(tmp_path: Path) -> None:
    figure = only(tmp_path, DAY)
    told = [(each.step, each.reading, each.cause, each.runs, each.units, each.run_id) for each in figure.failures]
    assert told == [
        ("read voltage", "value", "limit", 2, 2, "run-000005"),
        ("read voltage", "", "link", 1, 1, "run-000008"),
        ("scan", "rssi", "limit", 1, 1, "run-000003"),
    ]


def test_who_passed_with_nothing_done_to_it(tmp_path: Path) -> None:
    """B did; C had new firmware each time."""
    (again,) = only(tmp_path, DAY).retested
    assert (again.unit, again.firmware, again.failed_run, again.passed_run) == ("B", "1.0", "run-000002", "run-000004")


def test_four_of_twenty(tmp_path: Path) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: the same 4 of 20, here at 95 %, as scipy has them."""
    runs = [entry(n, unit=f"U{n}") if n < 4 else fails(n, f"U{n}") for n in range(20)]
    share = only(tmp_path, runs).first_pass
    assert share.exact == pytest.approx((0.057334, 0.436614), abs=1e-6)
    assert share.wilson == pytest.approx((0.080658, 0.416017), abs=1e-6)


def test_a_unit_is_in_one_group_each(tmp_path: Path) -> None:
    """B fails at line 1 and passes at line 2: its first run is in one group, its last in the other."""
    runs = [
        entry(1, unit="A"),
        fails(2, "B"),
        entry(70, unit="B", station="line 2"),
        entry(71, unit="C", station="line 2"),
    ]
    figure = only(tmp_path, runs, by=("station", "hour", "day"))
    told = [
        (each.name, each.runs, each.first_pass.passed, each.first_pass.of, each.final.passed, each.final.of)
        for each in figure.groups["station"]
    ]
    assert told == [("line 1", 2, 1, 2, 1, 1), ("line 2", 2, 1, 1, 2, 2)]
    assert [each.name for each in figure.groups["hour"]] == ["2026-11-02 06:00", "2026-11-02 07:00"]
    (day,) = figure.groups["day"]
    assert (day.first_pass, day.final) == (figure.first_pass, figure.final)


def test_plans_are_not_mixed_unless_asked(tmp_path: Path) -> None:
    runs = [entry(1, unit="A"), fails(2, "A", plan="smoke"), fails(3, "B", plan="smoke")]
    line, smoke = yields(tmp_path / "a", runs) if (tmp_path / "a").mkdir() is None else []
    assert (line.plans, line.first_pass.passed, line.first_pass.of) == (["end of line"], 1, 1)
    assert (smoke.plans, smoke.first_pass.passed, smoke.first_pass.of) == (["smoke"], 0, 2)
    (tmp_path / "b").mkdir()
    (both,) = yields(tmp_path / "b", runs, by=("plan",), together=True)
    assert (both.plans, both.units, both.first_pass.passed, both.final.passed) == (["end of line", "smoke"], 2, 1, 0)


def test_simulated_runs_count_alone(tmp_path: Path) -> None:
    runs = [entry(1, unit="A"), fails(2, "A", simulated=True, radio="virtual")]
    (tmp_path / "b").mkdir()
    assert only(tmp_path, runs).first_pass.of == only(tmp_path, [], Filters(simulated=True)).first_pass.of == 1
    assert only(tmp_path, [], Filters(simulated=True)).simulated
    with pytest.raises(UsageError, match="the history has no run on a real radio"):
        yields(tmp_path / "b", runs[1:])


def test_a_unit_that_was_tested_before_the_selection(tmp_path: Path) -> None:
    """B failed yesterday and passes today: today's first pass says so, and that of the units that were new."""
    runs = [
        fails(1, "B"),
        entry(2, unit="Z"),
        entry(1500, unit="B"),
        fails(1501, "C"),
        entry(1502, unit="Z"),
        entry(1503, unit="D"),
    ]
    figure = only(tmp_path, runs, Filters(since=BEGIN + timedelta(days=1)))
    assert (figure.first_pass.passed, figure.first_pass.of) == (3, 4)
    assert figure.earlier is not None
    assert (figure.earlier.units, figure.earlier.failed) == (2, 1)
    assert (figure.earlier.first_pass.passed, figure.earlier.first_pass.of) == (1, 2)
    assert only(tmp_path, []).earlier is None, "with all runs there is nothing before"


def test_a_failure_before_the_serial_number_was_read(tmp_path: Path) -> None:
    """The address tells whose it was, but not where two units have it; a unit that tells nothing is one of its own."""
    at = "C0:00:00:00:00:01"
    runs = [
        fails(1, "", address=at, cause="device"), entry(2, unit="A", address=at),
        fails(3, "", address="C0:00:00:00:00:02"), entry(4, unit="B", address="C0:00:00:00:00:02"),
        entry(5, unit="C", address="C0:00:00:00:00:02"), fails(6, "", cause="device"), fails(7, "", cause="device"),
    ]  # fmt: skip
    figure = only(tmp_path, runs)
    assert (figure.units, figure.by_address, figure.unknown) == (6, 1, 2)
    assert (figure.first_pass.passed, figure.final.passed) == (2, 3)


def test_passes_that_did_not_judge_all_are_told(tmp_path: Path) -> None:
    figure = only(
        tmp_path, [entry(1, unit="A", planned=3, judged=2), entry(2, unit="B", revision="2", plan_hash="cd" * 32)]
    )
    assert (figure.lacking, figure.revisions, figure.versions, figure.first_pass.passed) == (1, ["1", "2"], 2, 2)


def test_who_passed_by_other_limits_did_not_pass_again(tmp_path: Path) -> None:
    """B passed under a limit set that is wider, C by another text of the plan."""
    runs = [fails(1, "B"), entry(2, unit="B", limit_set="hot"), fails(3, "C"), entry(4, unit="C", plan_hash="cd" * 32)]
    assert only(tmp_path, runs).retested == []


def test_an_unknown_firmware_says_nothing(tmp_path: Path) -> None:
    assert only(tmp_path, [fails(1, "A", firmware=""), entry(2, unit="A", firmware="")]).retested == []


# --- at a line


def at_line(number: int, unit: str, purpose: str = "unit", *, first: int = 0, **more: object) -> Entry:
    """A run in slot 1; `first` is the number of the unit's first run."""
    said = {"purpose": purpose, "slot": "1", "first_run": f"run-{first:06}" * bool(first), "again": int(bool(first))}
    return entry(number, unit=unit, **(said | more))  # type: ignore[arg-type]


FAILS = {"verdict": "fail", "step": "read voltage", "reading": "value"}
SHIFT = [
    at_line(1, "G", "golden", reference="G1"),
    at_line(2, "K", "known bad", reference="K1", **FAILS),
    at_line(3, "A"),
    at_line(4, "B", **FAILS),
    at_line(5, "B", "retest", first=4),
    at_line(6, "C", **FAILS),
    at_line(7, "C", "repaired", first=6, slot="2"),
    at_line(8, "D", "clean-up", left_out=3),
    at_line(9, "D"),
    at_line(10, "G", "golden", reference="G1", **FAILS),
]


def test_the_first_result_stays_and_checks_of_the_station_count_for_nothing(tmp_path: Path) -> None:
    figure = only(tmp_path, SHIFT)
    assert (figure.units, figure.runs) == (4, 6)
    assert (figure.first_pass.passed, figure.first_pass.of) == (2, 4)
    assert (figure.final.passed, figure.final.of) == (4, 4)
    assert figure.apart == [Apart("golden unit", 2), Apart("clean-up", 1), Apart("known-bad unit", 1)]
    assert [(each.purpose, each.runs, each.passed) for each in figure.again] == [("retest", 1, 1), ("repaired", 1, 1)]
    assert [(each.unit, each.purpose) for each in figure.retested] == [("B", "retest"), ("C", "repaired")]


def test_by_slot_the_first_result_is_where_it_was(tmp_path: Path) -> None:
    groups = only(tmp_path, SHIFT, by=("slot",)).groups["slot"]
    told = [
        (each.name, each.first_pass.passed, each.first_pass.of, each.final.passed, each.final.of) for each in groups
    ]
    assert told == [("1", 2, 4, 3, 3), ("2", 0, 0, 1, 1)]


@pytest.mark.parametrize("filters", [Filters(slot=("2",)), Filters(purpose=("repaired",))])
def test_a_repaired_unit_alone_is_in_no_first_pass(tmp_path: Path, filters: Filters) -> None:
    figure = only(tmp_path, SHIFT, filters)
    assert (figure.units, figure.first_pass.of, figure.without_first, figure.final.of) == (1, 0, 1, 1)


def test_golden_runs_alone_have_no_yield(tmp_path: Path) -> None:
    figure = only(tmp_path, SHIFT, Filters(purpose=("golden",)))
    assert (figure.runs, figure.apart) == (0, [Apart("golden unit", 2)])


def test_after_a_fault_of_the_station_the_next_run_is_the_first(tmp_path: Path) -> None:
    """Whatever the line called it: the run that it names as the first one did not count."""
    figure = only(tmp_path, [at_line(1, "A", verdict="error", cause="station"), at_line(2, "A", "retest", first=1)])
    assert (figure.first_pass.passed, figure.first_pass.of, figure.without_first) == (1, 1, 0)


def test_an_absent_unit_without_a_number_is_that_of_its_retest(tmp_path: Path) -> None:
    """Else its failure would count as another unit, and its retest as a first pass."""
    runs = [at_line(1, "", cause="link", **FAILS), at_line(2, "A", "retest", first=1), fails(3, "", cause="device")]
    figure = only(tmp_path, runs)
    assert (figure.units, figure.unknown) == (2, 1)
    assert (figure.first_pass.passed, figure.final.passed) == (0, 1)


def test_a_unit_that_never_told_its_number_is_one_unit(tmp_path: Path) -> None:
    at = "C0:00:00:00:00:01"
    absent = [at_line(1, "", cause="link", **FAILS), at_line(2, "", "retest", first=1, cause="link", **FAILS)]
    figure = only(tmp_path, [*absent, at_line(3, "", "repaired", first=1, address=at)])
    assert (figure.units, figure.unknown, figure.without_first) == (1, 0, 0)
    assert (figure.first_pass.passed, figure.first_pass.of, figure.final.passed) == (0, 1, 1)


def test_a_selection_names_units_as_the_whole_history_does(tmp_path: Path) -> None:
    runs = [at_line(1, "", cause="link", **FAILS), at_line(2000, "A", "retest", first=1), at_line(3, "B")]
    figure = only(tmp_path, runs, Filters(until=BEGIN + timedelta(days=1)))
    assert (figure.units, figure.unknown, figure.first_pass.passed) == (2, 0, 1)
    assert figure.earlier is None
