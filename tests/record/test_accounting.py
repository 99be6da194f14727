"""A run whose limits and verdicts do not add up is told."""

from __future__ import annotations

from msgspec.structs import replace

from benchrig.record.accounting import fates_of, unaccounted
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, Closed, RoundsLeft, RunEnded, RunStarted, Where
from tests.record.examples import opened, run_started
from tests.record.test_rounds import Soak, logged


def test_a_pass_with_a_step_that_failed() -> None:
    closed = Closed(Where("1"), 1.0, 1.0, "fail", "device", "it refused")
    record = build_record([run_started(), opened(), closed, RunEnded(1.0, "pass", 0, 0)])
    assert unaccounted(record) == ["the run passed, but a step came to fail"]


def test_a_limit_without_a_fate() -> None:
    record = build_record([run_started(), opened(), Closed(Where("1"), 1.0, 1.0, "pass"), RunEnded(1.0, "pass", 0, 1)])
    assert unaccounted(record) == ["the verdict counts 1 judged and 0 not judged, the steps 0 and 0"]


def test_rounds_that_are_only_counted_have_their_fates_too() -> None:
    events = logged([*Soak().run(100, inner=2), RunEnded(9.0, "pass", 0, 100, planned=200, not_judged=100)], least=50)
    # the inner steps of this soak give readings without a limit in the plan: here each has the one that is judged
    good = [*map(_with_limits, events)]
    judged, left = fates_of(build_record(good))
    good[-1] = RunEnded(9.0, "pass", 0, judged, planned=judged + left, not_judged=left)
    assert unaccounted(build_record(good)) == []
    for change, said in (
        (lambda each: replace(each, rounds=each.rounds - 1), "rounds are not on record"),
        (lambda each: replace(each, steps=each.steps[1:]), "step 1.1 ended 0 times in"),
        (lambda each: replace(each, steps=[replace(tally, limits={}) for tally in each.steps]), "has 0 fates"),
    ):
        bad = [change(each) if isinstance(each, RoundsLeft) else each for each in good]
        assert any(said in sentence for sentence in unaccounted(build_record(bad)))


def _with_limits(event: AnyEvent) -> AnyEvent:
    if not isinstance(event, RunStarted):
        return event
    [soak] = event.nodes
    [read, again] = soak.children
    [write] = again.children
    inner = replace(again, children=[replace(write, limits=["value", "rssi"])])
    return replace(event, nodes=[replace(soak, children=[read, inner])])
