"""Events of a line in one line each, and strategies for whole files of them. Public for all tests.

at(minutes)      a moment
began, ended     a test of a unit; `done` both, with the events of its run
histories()      what a line may write: shifts, units that end or not, stops, checks, in any order
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
from hypothesis import strategies as st

from benchrig.errors import Cause
from benchrig.line.events import (
    AnyLineEvent,
    CleanedUp,
    ClockBack,
    CutOff,
    FileChanged,
    LineCleared,
    LineStopped,
    PersonCame,
    ReferenceChecked,
    Released,
    RunBegan,
    ShiftBegan,
    ShiftEnded,
    ToldStation,
    UnitBegan,
    UnitEnded,
    Withheld,
    Word,
)
from benchrig.record.line_part import Purpose

BEGAN = datetime(2026, 11, 27, 6, 0, tzinfo=UTC)


def at(minutes: float = 0) -> datetime:
    return BEGAN + timedelta(minutes=minutes)


def shift(minutes: float = 0, name: str = "1", person: str = "P-0001", *, simulated: bool = False) -> ShiftBegan:
    return ShiftBegan(
        at=at(minutes), shift=name, person=person, station="line 3", station_hash="a", simulated=simulated
    )


def began(
    key: str, unit: str = "", purpose: Purpose = "unit", product: str = "logger", minutes: float = 0
) -> UnitBegan:
    name = unit or key
    return UnitBegan(at=at(minutes), key=key, unit=name, slot="1", product=product, barcode=name, purpose=purpose)


def ended(key: str, word: Word = "PASS", cause: Cause | None = None, minutes: float = 1, **more: Any) -> UnitEnded:
    verdict = {"PASS": "pass", "FAIL": "fail", "STOP": "error"}[word]
    blamed = cause or {"PASS": None, "FAIL": "limit", "STOP": "station"}[word]
    told = {"verdict": verdict, "cause": blamed, "run_id": f"run {key}"} | more
    return UnitEnded(at=at(minutes), key=key, word=word, **told)


def done(key: str, word: Word = "PASS", unit: str = "", purpose: Purpose = "unit", **more: Any) -> list[AnyLineEvent]:
    product = more.pop("product", "logger")
    return [began(key, unit, purpose, product), RunBegan(at=at(), key=key, folder=key), ended(key, word, **more)]


# --- whole files

_KEYS = st.integers(1, 12).map(str)
_UNITS = st.sampled_from("ABCD")
_PURPOSES: st.SearchStrategy[Purpose] = st.sampled_from(
    ["unit", "unit", "unit", "retest", "repaired", "golden", "known bad", "clean-up"]
)
_ENDS: list[tuple[Word, Cause | None]] = [
    ("PASS", None), ("FAIL", "limit"), ("FAIL", "link"), ("STOP", "station"), ("STOP", "operator"), ("STOP", "internal"),
    ("PASS", "station"), ("FAIL", "plan"),
]  # fmt: skip


@st.composite
def _any_end(draw: st.DrawFn) -> UnitEnded:
    word, cause = draw(st.sampled_from(_ENDS))
    return ended(draw(_KEYS), word, cause, step=draw(st.sampled_from(["read", "scan"])))


def _one() -> st.SearchStrategy[AnyLineEvent]:
    now = at(2)
    products = st.sampled_from(["logger", "box"])
    return st.one_of(
        st.builds(began, _KEYS, _UNITS, _PURPOSES, products),
        st.builds(began, _KEYS, _UNITS, _PURPOSES, products),
        _any_end(),
        _any_end(),
        st.builds(shift, st.just(2), _UNITS, _UNITS, simulated=st.booleans()),
        st.builds(lambda key: RunBegan(at=now, key=key, folder=key), _KEYS),
        st.builds(lambda key: CutOff(at=now, key=key), _KEYS),
        st.builds(lambda key: CleanedUp(at=now, key=key, person="P", ok=True), _KEYS),
        st.builds(lambda key: Released(at=now, key=key, slot="1"), _KEYS),
        st.builds(lambda key: Withheld(at=now, key=key, slot="1", why="w"), _KEYS),
        st.builds(lambda key, ok: ToldStation(at=now, key=key, ok=ok), _KEYS, st.booleans()),
        st.builds(lambda ok: ReferenceChecked(at=now, name="golden", slot="1", ok=ok), st.booleans()),
        st.sampled_from(
            [
                PersonCame(at=now, person="P"),
                ShiftEnded(at=now),
                LineStopped(at=now, why="w"),
                LineCleared(at=now, person="P"),
                FileChanged(at=now, old="a", new="b", taken=True),
                ClockBack(at=now, before=now),
            ]
        ),
    )


@st.composite
def _whole(draw: st.DrawFn) -> list[AnyLineEvent]:
    """A test from its begin to its end."""
    word, cause = draw(st.sampled_from(_ENDS))
    key, product = draw(_KEYS), draw(st.sampled_from(["logger", "box"]))
    return done(key, word, draw(_UNITS), draw(_PURPOSES), cause=cause, product=product)


def histories() -> st.SearchStrategy[list[AnyLineEvent]]:
    """Whole tests, with anything else between and within them."""
    parts = st.lists(st.one_of(_whole(), st.builds(lambda event: [event], _one())), max_size=30)
    return parts.map(lambda each: [event for part in each for event in part])


def lines(events: list[AnyLineEvent]) -> bytes:
    """As the file of a line has them."""
    return msgspec.json.Encoder().encode_lines(events)
