"""All that a history holds, without its own numbers: equal for histories that hold the same."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from benchrig.history.opening import History
from benchrig.history.tables import bounds, channels, devices, readings, runs, steps

_OWN = {"run", "folder", "kept_on"}
_NUMBERS = {"run", "channel", "bound", "key"}


def contents(history: History) -> dict[str, list[tuple[Any, ...]]]:
    """By table; sorted by what the rows are."""
    with history.reading() as connection:
        heads = select(*(column for column in runs.c if column.name not in _OWN)).order_by(runs.c.run_id)
        found = {"runs": [tuple(row) for row in connection.execute(heads)]}
        for table in (devices, steps):
            of_run = select(runs.c.run_id, *(column for column in table.c if column.name not in _NUMBERS))
            rows = connection.execute(of_run.join(runs, runs.c.run == table.c.run))
            found[table.name] = sorted((tuple(row) for row in rows), key=repr)
        columns = [column for each in (readings, channels, bounds) for column in each.c if column.name not in _NUMBERS]
        measured = (
            select(runs.c.run_id, *columns)
            .join(runs, runs.c.run == readings.c.run)
            .join(channels, channels.c.channel == readings.c.channel)
            .join(bounds, bounds.c.bound == readings.c.bound)
        )
        found["readings"] = sorted((tuple(row) for row in connection.execute(measured)), key=repr)
    return found
