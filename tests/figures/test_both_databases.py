"""The same answers from SQLite and PostgreSQL, grown in different orders, to the last digit."""

from __future__ import annotations

import io
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.figures.capability import capability_of
from benchrig.figures.chart import chart_of
from benchrig.figures.drift import drift_of
from benchrig.figures.yields import yields_of
from benchrig.history.adding import add_entries
from benchrig.history.entry import Entry
from benchrig.history.opening import History, open_history
from benchrig.history.place import place_of
from benchrig.history.questions.channels import channels_of
from benchrig.history.questions.export import export
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.life import life_of
from benchrig.history.questions.runs import runs_of
from benchrig.history.questions.values import Values, all_values
from benchrig.history.questions.words import GROUPINGS
from tests.history.postgres import cluster, needs_postgresql
from tests.history.questions.kit import entry

AT = "C0:00:00:00:00:01"
SELECTIONS = (
    Filters(),
    Filters(simulated=True),
    Filters(station=("line 1",)),
    Filters(unit=("A",)),
    Filters(unit=(AT.lower(),)),
    Filters(plan_hash=("ABABAB",), firmware=("",)),
    Filters(purpose=("golden",)),
    Filters(slot=("1", ""), purpose=("unit", "retest", "golden")),
)


def drawn(count: int, seed: int) -> list[Entry]:
    """Runs that begin together, names that databases order and compare each in its own way."""
    chance = random.Random(seed)
    return [
        entry(
            number,
            minutes=number // 3,
            unit=chance.choice(["A", "a", "B", "", "é", "日", "_"]),
            given=chance.choice(["A", "B", ""]),
            address=chance.choice(["", AT]),
            verdict=chance.choice(["pass", "pass", "fail"]),
            step="s",
            reading="value",
            station=chance.choice(["line 1", "Line 1", "_", "line  1"]),
            plan=chance.choice(["p", "P"]),
            firmware=chance.choice(["", "1"]),
            left_out=chance.choice([0, 0, 0, 1]),
            simulated=chance.random() < 0.2,
            purpose=chance.choice(["", "", "unit", "unit", "retest", "repaired", "golden", "known bad", "clean-up"]),
            slot=chance.choice(["1", "2", ""]),
            person=chance.choice(["é", "E", "a"]),
            reference=chance.choice(["G", "g"]),
            first_run=chance.choice(["", f"run-{number // 2:06}", "unknown"]),
            readings={"s.value": chance.gauss(5, 1), "S.value": chance.random() / 3, "t.x": "text"},
        )
        for number in range(count)
    ]


def answers(history: History) -> Iterator[Any]:
    """All that is asked of a history and made of it; floats as their bytes."""
    for filters in SELECTIONS:
        yield runs_of(history, filters)
        yield [(each.label, each.plan) for each in channels_of(history, filters)]
        yield [arrays(each) for each in all_values(history, filters)]
        yield yields_of(history, filters, GROUPINGS)
        yield yields_of(history, filters, together=True)
        export(history, (), filters, file := io.BytesIO(), "csv")
        yield file.getvalue().replace(f"{history.place.base}/".encode(), b"")
    yield drift_of(history, Filters())
    yield life_of(history, "A", with_readings=True)
    yield capability_of(history, "s.value", Filters(plan=("p",)))
    yield chart_of(history, "s.value", Filters(plan=("p",)))


def arrays(values: Values) -> tuple[object, ...]:
    numbers = (values.value, values.low, values.high, values.passed, values.started)
    return (
        *(each.tobytes() for each in numbers),
        values.run.tolist(),
        values.unit.tolist(),
        values.apart,
        values.not_numbers,
    )


@pytest.mark.slow
@needs_postgresql
def test_both_databases_give_the_same_answers(tmp_path: Path) -> None:
    pytest.importorskip("psycopg", reason="psycopg is not installed")
    runs, found = drawn(400, seed=3), []
    with cluster() as server:
        for place, seed in ((str(tmp_path / "a.sqlite"), 1), (str(tmp_path / "b.sqlite"), 2), (server.url, 3)):
            with open_history(place_of(place), make=True) as history:
                random.Random(seed).shuffle(shuffled := [*runs])
                for at in range(0, len(runs), 37):
                    add_entries(history, shuffled[at : at + 37])
                found.append([msgspec.json.encode(each) for each in answers(history)])
    assert found[0] == found[1] == found[2]
    assert len(found[0]) == 6 * len(SELECTIONS) + 4
