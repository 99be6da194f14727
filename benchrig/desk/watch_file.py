"""What was watched, in a file: CSV with a row a number, or the events as JSON lines. Written as it comes."""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from benchrig.desk.series import Arrival, fields_of
from benchrig.desk.watching import Event, LinkLoss, Watch, event_as_data
from benchrig.errors import StationError, UsageError
from benchrig.files import writable
from benchrig.text.escape import csv_cell

COLUMNS = (
    "time", "seconds", "device", "simulated", "event", "attribute", "number", "gap", "field", "value", "units", "raw", "note",
    "lost", "duplicated",
)  # fmt: skip

_COUNTED = ("lost", "duplicated")


def check_file(path: Path, *, force: bool = False) -> None:
    """See that the file can be made, before the radio is asked for anything. UsageError."""
    if path.suffix.lower() not in (".csv", ".jsonl"):
        raise UsageError(f"'{path}' says neither CSV nor JSON lines", advice="name it .csv or .jsonl")
    writable(path, force=force)


class WatchFile:
    """A file that takes events; `force` writes over one that is there. StationError when it cannot be written."""

    def __init__(self, path: Path, watch: Watch, *, radio: str, simulated: bool, force: bool = False) -> None:
        self._path, self._watch = path, watch
        self._facts = {"radio": radio, "simulated": simulated}
        self._columns = path.suffix.lower() == ".csv"
        self._begun = False
        with self._on_disk():
            # a line at a time: what has come is there, whatever happens next
            self._file = path.open("w" if force else "x", encoding="utf-8", newline="", buffering=1)
        self._writer = csv.writer(self._file)

    def add(self, event: Event) -> None:
        with self._on_disk():
            self._begin()
            if self._columns:
                self._writer.writerows(self._rows(event))
            else:
                self._line(event_as_data(self._watch, event))

    def close(self) -> None:
        with self._on_disk():
            self._begin()
            self._file.close()

    @contextlib.contextmanager
    def _on_disk(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise StationError(f"'{self._path}' cannot be written: {error.strerror or error}") from error

    def _begin(self) -> None:
        """Once it is known which device it is."""
        if self._begun:
            return
        self._begun = True
        if self._columns:
            self._writer.writerow(COLUMNS)
            return
        watch = self._watch
        attributes = [
            {"attribute": each.name, "format": each.form.describe() if each.form else ""} for each in watch.watched
        ]
        head = {"event": "watch", "time": watch.time_of(0.0), "device": watch.unit, **self._facts}
        self._line(head | {"attributes": attributes})

    def _line(self, data: dict[str, Any]) -> None:
        self._file.write(json.dumps(data, ensure_ascii=False) + "\n")

    def _rows(self, event: Event) -> Iterator[list[str]]:
        data = event_as_data(self._watch, event)
        cells = {
            name: data.get(name) for name in ("time", "seconds", "event", "attribute", "number", "gap", *_COUNTED)
        } | {
            "device": self._watch.unit,
            "simulated": self._facts["simulated"],
            "raw": data["content"]["raw"] if isinstance(event, Arrival) else None,
        }
        if not isinstance(event, Arrival):
            note = data["reason"] if isinstance(event, LinkLoss) else f"no link since {data['lost_from']} s"
            yield self._row(cells | {"note": note})
        elif event.wrong:
            yield self._row(cells | {"note": event.wrong})
        else:
            yield from (self._row(cells | parts) for parts in self._values(event))

    def _values(self, event: Arrival) -> Iterator[dict[str, Any]]:
        series = event.channel.series
        for name, value in fields_of(event.value).items():
            yield {"field": name, "value": value, "units": series[name].unit if name in series else ""}

    @staticmethod
    def _row(cells: dict[str, Any]) -> list[str]:
        return [csv_cell(cells.get(name)) for name in COLUMNS]
