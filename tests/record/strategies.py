"""Arbitrary records, as a runner could write them with the worst of devices. Public for all tests.

records()      whole, failed, interrupted and cut off runs
events()       the same as events
few            settings for a test of whole records, which take long to make
device_text()  text that came over the air: any character, markup, escape sequences, formulas, great length
"""

from __future__ import annotations

from typing import Any, get_args

import msgspec
from hypothesis import settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchrig.errors import Cause
from benchrig.record.aggregate import build_record
from benchrig.record.events import (
    FORMAT,
    Added,
    AnyEvent,
    AttemptFailed,
    Closed,
    DeviceSeen,
    Fixture,
    Noted,
    Opened,
    PlannedLimits,
    PlannedNode,
    PlannedRequirement,
    Reading,
    RunEnded,
    RunStarted,
    Samples,
    Where,
)
from benchrig.record.line_part import LinePart
from benchrig.record.model import Record
from benchrig.record.purposes import PURPOSES
from benchrig.values.access import AccessCell, AccessRow
from benchrig.values.judging import Judgement

few = settings(max_examples=8)

NASTY = (
    "[bold red]x[/bold red]", "[/]", "\x1b[2J\x1b[31m", "\x9b31m", "a\nb\r\nc\td", "\0", "\u202eevil\u202c", "\u2066x",
    "=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "]]>", "<b>&amp;</b>", "\ufffe\uffff", "\u2028\u0085", "e\u0301" * 3,
    "\U000e0041", "👩‍🔬", "漢字" * 60, "x" * 5000, "a b " * 700, ":smile:", '"quoted", and \'more\'',
)  # fmt: skip


def device_text() -> st.SearchStrategy[str]:
    return st.text(max_size=20) | st.sampled_from(NASTY)


def whole_text() -> st.SearchStrategy[str]:
    """Text that UTF-8 can carry, so that it is the same when read back."""
    return device_text().filter(lambda text: not any("\ud800" <= c <= "\udfff" for c in text))


def numbers() -> st.SearchStrategy[float]:
    return st.integers(-(2**127), 2**128) | st.floats(allow_nan=False, allow_infinity=False)


def times() -> st.SearchStrategy[float]:
    return st.floats(0, 1e6).map(lambda seconds: round(seconds, 6))


def json_values() -> st.SearchStrategy[Any]:
    simple = st.none() | st.booleans() | numbers() | whole_text()
    return st.recursive(
        simple,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(whole_text(), inner, max_size=3),
        max_leaves=6,
    )


def places() -> st.SearchStrategy[str]:
    return st.sampled_from(["", "fridge.yaml:12", "other plans/größer.yaml:7"])


def judgements() -> st.SearchStrategy[Judgement]:
    bound = st.none() | numbers() | st.just("2026-01-01T00:00:00")
    return st.builds(
        Judgement, passed=st.booleans(), limit=whole_text(), sentence=whole_text(), low=bound, high=bound,
        margin=st.none() | st.floats(allow_nan=False, allow_infinity=False), place=places(), stated_low=bound,
        stated_high=bound, guard=whole_text(),
    )  # fmt: skip


def samples() -> st.SearchStrategy[Samples]:
    number = st.none() | st.floats(-1e300, 1e300)
    count = st.integers(0, 2**40)
    return st.builds(
        Samples, count=count, minimum=number, maximum=number, mean=number, sd=number, outside=count,
        first_outside=st.none() | count, first_outside_at=st.none() | times(),
    )  # fmt: skip


def place(step: int, attempt: int = 1) -> Where:
    return Where(str(step), attempt=attempt)


def readings(step: int, attempt: int) -> st.SearchStrategy[Reading]:
    raw = st.none() | st.binary(max_size=300).map(lambda data: data.hex().upper())
    return st.builds(
        Reading, where=st.just(place(step, attempt)), at=times(),
        name=st.sampled_from(["value", "value.heart_rate", "elapsed"]) | whole_text(),
        value=json_values(), unit=st.sampled_from(["", "°C", "dBm", "%", "s"]), raw=raw,
        samples=st.none() | samples(), judgement=st.none() | judgements(), access=st.just([]) | matrices(),
    )  # fmt: skip


def matrices() -> st.SearchStrategy[list[AccessRow]]:
    links = st.sampled_from(["no security", "encrypted", "after pairing"]) | whole_text()
    cells = st.builds(
        AccessCell, link=links, expected=whole_text(), found=whole_text(), way=whole_text(), why=whole_text(),
        differs=st.booleans(),
    )  # fmt: skip
    row = st.builds(
        AccessRow, attribute=whole_text(), operation=whole_text(), needs=whole_text(), cells=st.lists(cells, max_size=3)
    )
    return st.lists(row, max_size=3)


def endings(step: int, number_of_steps: int) -> st.SearchStrategy[Closed]:
    own = st.none() | whole_text()
    rest = {"message": whole_text(), "advice": whole_text(), "attempts": st.integers(1, 9), "own": own}
    common = {"where": st.just(place(step)), "at": times(), "elapsed": times()}
    skipped = skips(step, number_of_steps)
    passed = st.builds(Closed, verdict=st.just("pass"), **common)
    bad = st.builds(
        Closed, verdict=st.sampled_from(["fail", "error"]), cause=st.sampled_from(get_args(Cause)),
        traceback=whole_text(), **common, **rest,
    )  # fmt: skip
    return passed | skipped | bad


def skips(step: int, number_of_steps: int) -> st.SearchStrategy[Closed]:
    return st.builds(
        Closed, where=st.just(place(step)), at=times(), elapsed=st.just(0.0), verdict=st.just("skip"),
        message=whole_text(), root=st.none() | st.integers(1, number_of_steps).map(place),
    )  # fmt: skip


@st.composite
def attempts(draw: st.DrawFn, step: int) -> list[AnyEvent]:
    """What the attempts of one step leave; all but the last one failed."""
    failed = st.builds(AttemptFailed, at=times(), cause=st.sampled_from(get_args(Cause)), message=whole_text(),
                       where=st.just(place(step)))  # fmt: skip
    left: list[AnyEvent] = []
    for attempt in range(1, draw(st.integers(1, 3)) + 1):
        where = place(step, attempt)
        note = st.builds(Noted, at=times(), text=whole_text(), where=st.just(where) | st.none())
        left += [*draw(st.lists(note | readings(step, attempt), max_size=2)), replace(draw(failed), where=where)]
    return left[:-1]


@st.composite
def step_events(draw: st.DrawFn, step: int, number_of_steps: int) -> list[AnyEvent]:
    """What one step leaves: nothing, an end alone (it was skipped), or all of it."""
    if draw(st.booleans()):
        return draw(st.lists(skips(step, number_of_steps), max_size=1))
    begin = Opened(place(step), draw(times()))
    return [begin, *draw(attempts(step)), draw(endings(step, number_of_steps))]


@st.composite
def planned_steps(draw: st.DrawFn) -> list[PlannedNode]:
    step = st.tuples(whole_text(), st.sampled_from(["scan", "read", "notify"]), places(), st.booleans())
    drawn = draw(st.lists(step, max_size=5))
    return [
        PlannedNode(
            str(number), name, kind, place, section="finally" if last else "steps", proves=["R"] if last else []
        )
        for number, (name, kind, place, last) in enumerate(drawn, start=1)
    ]


def at_line() -> st.SearchStrategy[LinePart]:
    return st.builds(
        LinePart, *[whole_text()] * 5, purpose=st.sampled_from(PURPOSES), reference=whole_text(), first=whole_text(),
        again=st.integers(0, 99),
    )  # fmt: skip


@st.composite
def events(draw: st.DrawFn) -> list[AnyEvent]:
    """The events of a run, from its start to its verdict or to the moment it died."""
    steps = draw(planned_steps())
    texts = {
        name: whole_text()
        for name in ("run_id", "plan", "plan_file", "plan_hash", "station", "radio", "revision", "host")
    }
    mapping = st.dictionaries(whole_text(), whole_text(), max_size=2)
    ids = st.lists(st.sampled_from(["1", "2", "7"]), max_size=2, unique=True)
    promised = st.dictionaries(whole_text(), st.builds(PlannedRequirement, whole_text(), ids), max_size=2)
    limit_set = st.none() | st.builds(PlannedLimits, *[whole_text()] * 6)
    start = st.builds(
        RunStarted, started=st.just("2026-03-02T08:15:30.250Z") | whole_text(), simulated=st.booleans(),
        nodes=st.just(steps), format=st.just(FORMAT), versions=mapping, given=mapping, seed=st.none() | st.integers(0, 2**63),
        caution=whole_text(), requirements=promised, limit_set=limit_set,
        fixture=st.none() | st.builds(Fixture, whole_text(), whole_text()), line=st.none() | at_line(), **texts,
    )  # fmt: skip
    unit = st.builds(DeviceSeen, times(), *[whole_text()] * 4, firmware=whole_text(), hardware=whole_text())
    run: list[AnyEvent] = [draw(start), *draw(st.lists(unit, max_size=2))]
    for step in range(1, len(steps) + 1):
        run += draw(step_events(step, len(steps)))
    run.append(draw(verdicts(len(steps))))
    run = grown(run) if draw(st.booleans()) else run
    return run if draw(st.booleans()) else run[: draw(st.integers(1, len(run)))]


def grown(run: list[AnyEvent]) -> list[AnyEvent]:
    """The same run with a head that names no step: each is added before anything is said of it."""
    head = run[0]
    assert isinstance(head, RunStarted)
    waiting, told = [*head.nodes], list[AnyEvent]([msgspec.structs.replace(head, nodes=[], format=FORMAT)])
    for event in run[1:]:
        wheres = (getattr(event, "where", None), getattr(event, "root", None))
        named = max((int(where.node) for where in wheres if isinstance(where, Where)), default=0)
        if isinstance(event, RunEnded):
            named = len(head.nodes)
        while waiting and int(waiting[0].id) <= named:
            told.append(Added(0.0, waiting.pop(0)))
        told.append(event)
    return told


def verdicts(number_of_steps: int) -> st.SearchStrategy[RunEnded]:
    judged = st.integers(0, 99)
    good = st.builds(RunEnded, times(), st.just("pass"), st.sampled_from([0, 5]), judged)
    bad = st.builds(
        RunEnded, times(), st.sampled_from(["fail", "error"]), st.sampled_from([1, 2, 3, 4, 7]), judged,
        st.sampled_from(get_args(Cause)), st.none() | st.integers(1, max(1, number_of_steps)).map(place), whole_text(),
    )  # fmt: skip
    return good | bad


def records() -> st.SearchStrategy[Record]:
    return events().map(build_record)
