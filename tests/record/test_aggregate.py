"""Events add up to a record."""

from __future__ import annotations

import pytest

from benchrig.errors import UsageError
from benchrig.record.aggregate import build_record
from benchrig.record.events import DeviceSeen, Noted, Opened, Where
from tests.record.examples import FAILED_RUN, failed_run, opened, reading, run_started


def test_every_step_of_the_plan_is_in_the_record_from_the_start() -> None:
    assert [step.planned.id for step in failed_run(1).steps] == [*"1234567"]


def test_a_run_without_a_verdict_was_cut_off() -> None:
    assert failed_run(-1).cut_off
    assert not failed_run().cut_off


def test_readings_are_kept_with_their_step_in_order() -> None:
    assert [r.name for r in failed_run().steps[3].readings] == ["value", "gap_max", "count"]


def test_a_step_that_was_cut_off_has_a_start_and_no_end() -> None:
    step = failed_run(until=7).steps[1]
    assert (step.opened.at, step.ended) == (0.5, None)


def test_what_is_learned_of_the_unit_later_adds_to_it() -> None:
    events = [
        run_started(),
        DeviceSeen(0.4, "C0:FF:EE:00:00:01", "random static", "VFL-000123"),
        DeviceSeen(1.8, serial="7"),
    ]
    assert build_record(events).unit == DeviceSeen(1.8, "C0:FF:EE:00:00:01", "random static", "VFL-000123", "7")


def test_attempts_are_kept() -> None:
    assert [a.where.attempt for a in failed_run().steps[1].retries] == [1]


def test_notes_belong_to_their_step_or_to_the_run() -> None:
    record = build_record([run_started(), Noted(0.1, "of the run"), Noted(0.2, "of the step", Where("1"))])
    assert [note.text for note in record.notes] == ["of the run"]
    assert [note.text for note in record.steps[0].notes] == ["of the step"]


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ([], "begins with the start"),
        (FAILED_RUN[1:], "begins with the start"),
        ([FAILED_RUN[0], FAILED_RUN[0]], "second run"),
        ([run_started(), Opened(Where("2"), 0.0)], "no step 2"),
    ],
)
def test_events_that_are_no_run_are_refused(events: list, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        build_record(events)


def test_the_last_word_of_a_stream_stands_in_the_place_where_it_was_said() -> None:
    value, count = reading(1, partial=True), reading(5, name="count")
    record = build_record([run_started(), opened(), value, count, reading(2)])
    assert [(r.name, r.value) for r in record.steps[0].readings] == [("count", 5), ("value", 2)]
