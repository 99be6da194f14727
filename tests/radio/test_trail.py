"""Which addresses were the unit's, and how long each lasted: every situation in a few seconds of reports."""

import pytest

from benchrig.errors import AmbiguousDevice
from benchrig.radio.trail import Track, trail_of

END, EVERY = 100, 0.1


def track(name, *spans, proven=False, rotates=True):
    one = Track(name, is_proven=proven, rotates=rotates)
    for low, high in spans:
        for step in range(round((high - low) / EVERY)):
            one.hear(low + step * EVERY)
    return one


def found(*tracks):
    trail = trail_of(tracks, 0.0, END, 1.0, 0.05)
    turns = "".join(turn.track.address for turn in trail.turns)
    return turns, [tuple(map(round, hole)) for hole in trail.holes], "".join(each.address for each in trail.beside)


A, B = track("A", (0, 50), proven=True), track("B", (50, 100))
NEIGHBOUR = track("n", (0, 100), rotates=False)


@pytest.mark.parametrize(
    ("tracks", "expected"),
    [
        ([A, track("B", (50, 100), proven=True)], ("AB", [], "")),
        ([A, B], ("AB", [], "")),
        ([A, B, NEIGHBOUR], ("AB", [], "n")),
        ([A], ("A", [(50, 100)], "")),
        ([A, NEIGHBOUR], ("A", [(50, 100)], "n")),
        ([A, track("B", (60, 100), proven=True)], ("AB", [(50, 60)], "")),
        ([A, track("C", (50, 60)), track("B", (60, 100), proven=True)], ("ACB", [], "")),
        ([B], ("B", [(0, 50)], "")),
        ([A, track("B", (50, 100), proven=True), track("n", (0, 30)), track("m", (30, 100))], ("AB", [], "nm")),
        ([track("A", (0, 10), (20, 30), proven=True), track("B", (10, 20), (30, 100), proven=True)], ("ABAB", [], "")),
    ],
    ids=["proven", "by its time", "neighbour that stays", "silent", "silent beside a neighbour", "a hole", "in a hole",
         "not there at first", "rotating neighbour, all proven", "comes back"],
)  # fmt: skip
def test_what_is_the_units(tracks, expected):
    assert found(*tracks) == expected


@pytest.mark.parametrize(
    "tracks",
    [
        [A, B, track("C", (55, 90))],
        [A, track("n", (0, 45)), track("m", (45, 100)), track("B", (60, 100))],
        [A, track("n", (0, 70)), track("m", (70, 100))],
        [track("n", (0, 100)), track("m", (0, 100))],
    ],
    ids=["two that come", "a neighbour that rotates", "a neighbour that may have moved", "nothing proven"],
)
def test_what_nobody_can_tell(tracks):
    with pytest.raises(AmbiguousDevice, match="ambiguous: the addresses"):
        found(*tracks)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ([], [100]),  # never: at least so long
        ([30], [70]),  # the longer of two that nobody saw whole
        ([70], [70]),
        ([10, 40, 70], [30, 30]),  # the open ones are shorter than those seen whole
        ([10, 20], [10, 80]),  # the last one has lasted longer than any before
        ([80, 90], [10, 80]),  # and so has the first
    ],
)
def test_how_long_an_address_lasts(changes, expected):
    edges = [0, *changes, END]
    tracks = [track(chr(65 + n), (edges[n], edges[n + 1]), proven=True) for n in range(len(edges) - 1)]
    trail = trail_of(tracks, 0.0, END, 1.0, 0.05)
    assert trail.lasted(0.0) == pytest.approx(expected, abs=0.2)


@pytest.mark.parametrize("true", [60, 75, 99])
@pytest.mark.parametrize("phase", range(0, 100, 7))
def test_listening_for_twice_a_limit_never_misses_an_address_that_lasts_longer(true, phase):
    """Whatever the phase: with 100 s, one of over 50 s."""
    changes = [at for at in range(phase, END, true) if at > 0]
    edges = [0, *changes, END]
    tracks = [track(f"{n} ", (edges[n], edges[n + 1]), proven=True) for n in range(len(edges) - 1)]
    assert max(trail_of(tracks, 0.0, END, 1.0, 0.05).lasted(0.0)) >= 49.8
