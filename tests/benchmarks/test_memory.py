"""A notify step keeps no samples: its memory does not grow with their number."""

import tracemalloc

import pytest

from benchrig.record.events import Closed, Opened
from tests.benchmarks.rates import DEVICE, Span, notify_plan
from tests.run.kit import run

COUNT = 100_000
# A list of as many floats alone takes more than 2 MB.
MOST_GROWTH = 500_000


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_memory_is_flat_over_many_notifications():
    sizes = []

    def watch(_, event):
        if isinstance(event, (Opened, Closed)) and event.where.node == str(Span.FIRST):
            sizes.append(tracemalloc.get_traced_memory()[0])

    tracemalloc.start()
    try:
        ran = run(notify_plan(COUNT), DEVICE, during=watch)
    finally:
        tracemalloc.stop()
    assert ran.reading(Span.FIRST).samples.count == COUNT
    assert sizes[1] - sizes[0] < MOST_GROWTH
