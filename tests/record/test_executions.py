"""A plan is a tree: what is executed how often, in which order, and what a whole comes to."""

from __future__ import annotations

import pytest

from benchrig.errors import UsageError
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, AttemptFailed, Closed, Noted, Opened, PlannedNode, Reading, Where, worst
from benchrig.record.model import Record
from tests.record.examples import run_started


def step(node: str) -> PlannedNode:
    return PlannedNode(node, f"read {node}", "read", "a.yaml:1")


PLAN = [
    step("1"),
    PlannedNode("2", "soak", "", "a.yaml:2", role="repeat", children=[step("2.1"), step("2.2")]),
    PlannedNode("3", "both", "", "a.yaml:5", role="parallel", children=[step("3.1"), step("3.2")]),
]


def at(node: str, *rounds: int, attempt: int = 1) -> Where:
    return Where(node, rounds, attempt)


def opens(node: str, *rounds: int) -> Opened:
    return Opened(at(node, *rounds), 1.0)


def closes(node: str, *rounds: int, verdict: str = "pass") -> Closed:
    return Closed(at(node, *rounds), 2.0, 1.0, verdict)  # type: ignore[arg-type]


def gives(value: int, node: str, *rounds: int, attempt: int = 1) -> Reading:
    return Reading(at(node, *rounds, attempt=attempt), 1.5, "value", value)


def record(*events: AnyEvent) -> Record:
    return build_record([run_started(*PLAN), *events])


def round_of(number: int, verdict: str = "pass") -> list[AnyEvent]:
    return [
        opens("2.1", number), gives(number, "2.1", number), closes("2.1", number, verdict=verdict),
        opens("2.2", number), closes("2.2", number),
    ]  # fmt: skip


def test_all_of_the_plan_is_there_before_anything_begins() -> None:
    assert [each.where for each in record().steps] == [
        at("1"), at("2.1", 1), at("2.2", 1), at("3.1"), at("3.2"),
    ]  # fmt: skip


def test_a_failure_in_one_round_is_not_swallowed_by_the_next() -> None:
    done = record(opens("2"), *round_of(1, "fail"), *round_of(2), closes("2", verdict="fail"))
    soak = done.nodes[1]
    assert [(each.where, each.ended.verdict if each.ended else "") for each in soak.children] == [
        (at("2.1", 1), "fail"), (at("2.2", 1), "pass"), (at("2.1", 2), "pass"), (at("2.2", 2), "pass"),
    ]  # fmt: skip
    assert [[r.value for r in each.readings] for each in soak.children] == [[1], [], [2], []]
    with pytest.raises(UsageError, match="step 2 ends with pass, but a step in it with fail"):
        record(opens("2"), *round_of(1, "fail"), *round_of(2), closes("2"))


def test_the_worst_of_several() -> None:
    assert worst([]) == "pass"
    assert [worst(["pass", each]) for each in ("skip", "fail", "error")] == ["skip", "fail", "error"]  # type: ignore[list-item]
    assert worst(["error", "fail", "skip"]) == "error"


def test_a_round_that_was_cut_off_shows_what_it_did_not_come_to() -> None:
    done = record(opens("2"), *round_of(1), opens("2.1", 2))
    last = done.nodes[1].children[2:]
    assert [(each.where, each.opened is not None) for each in last] == [(at("2.1", 2), True), (at("2.2", 2), False)]


def test_rounds_inside_rounds() -> None:
    inner = PlannedNode("1.1", "inner", "", "a.yaml:2", role="repeat", children=[step("1.1.1")])
    outer = PlannedNode("1", "outer", "", "a.yaml:1", role="repeat", children=[inner])
    events: list[AnyEvent] = [run_started(outer), opens("1")]
    for one in (1, 2):
        events.append(opens("1.1", one))
        for other in (1, 2, 3):
            events += [opens("1.1.1", one, other), closes("1.1.1", one, other)]
        events.append(closes("1.1", one))
    done = build_record([*events, closes("1")])
    assert [each.where.rounds for each in done.steps] == [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3)]
    assert done.steps[5].where.label == "1.1.1 (round 2.3)"


def test_steps_side_by_side_interleave() -> None:
    done = record(opens("3"), opens("3.1"), opens("3.2"), gives(1, "3.1"), gives(2, "3.2"), gives(3, "3.1", attempt=2),
                  closes("3.2"), closes("3.1"), closes("3"))  # fmt: skip
    assert [[r.value for r in each.readings] for each in done.steps[3:]] == [[3], [2]]


def test_attempts_keep_their_readings_and_the_last_one_counts() -> None:
    failed = AttemptFailed(at("1"), 1.6, "link", "the link was lost")
    first = record(opens("1"), gives(1, "1"), failed).steps[0]
    assert (first.readings, [r.value for r in first.attempts[0].readings]) == ([], [1])
    last = record(opens("1"), gives(1, "1"), failed, gives(2, "1", attempt=2)).steps[0]
    assert [r.value for r in last.readings] == [2]
    assert last.retries == [failed]


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ([gives(1, "1")], "step 1 has not begun"),
        ([closes("1")], "step 1 has not begun"),
        ([opens("1"), opens("1")], "step 1 begins a second time"),
        ([opens("1"), closes("1"), gives(1, "1")], "step 1 is over"),
        ([opens("1"), closes("1"), closes("1")], "step 1 is over"),
        ([closes("1", verdict="skip"), opens("1")], "step 1 begins a second time"),
        ([closes("1", verdict="skip"), closes("1", verdict="skip")], "step 1 is over"),
        ([opens("1"), opens("2")], "step 2 begins while step 1 is running"),
        ([opens("2.1", 1)], "step 2 has not begun"),
        (
            [opens("2"), opens("2.1", 1), opens("2.2", 1)],
            r"step 2.2 \(round 1\) begins while step 2.1 \(round 1\) is running",
        ),
        ([opens("2"), opens("2.1", 1), closes("2")], r"step 2 ends while step 2.1 \(round 1\) is running"),
        ([opens("2"), opens("2.1", 2), opens("2.1", 1)], r"step 2.1 \(round 1\) begins while"),
        ([opens("2"), opens("2.1", 3), closes("2.1", 3), opens("2.1", 2)], r"no step 2.1 \(round 2\)"),
        ([opens("2.1")], "no step 2.1"),
        ([opens("1", 1)], r"no step 1 \(round 1\)"),
        ([opens("4")], "no step 4"),
        ([Noted(1.0, "lost", at("4"))], "no step 4"),
        ([opens("1"), gives(1, "1", attempt=2), gives(1, "1")], "attempt 1 of step 1 is over"),
    ],
)
def test_what_cannot_be_is_refused(events: list[AnyEvent], why: str) -> None:
    with pytest.raises(UsageError, match=why):
        record(*events)


def test_many_steps_are_no_trouble() -> None:
    """Nothing looks through all steps for each of them."""
    plan = [step(str(number)) for number in range(1, 3001)]
    events = [event for node in plan for event in (opens(node.id), closes(node.id))]
    assert len(build_record([run_started(*plan), *events]).steps) == 3000
