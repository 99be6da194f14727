"""The station: what this bench is called, which radio it has, and what it does not allow."""

from __future__ import annotations

import platform
from pathlib import Path
from typing import Literal

import msgspec

from benchrig.source.problem import Problems
from benchrig.source.references import references
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import read_file
from benchrig.values.quantity import Gain


class Station(msgspec.Struct, omit_defaults=True):
    """A station file. `given` are default values for plans; `rssi_offset` is added to every level (fixture, cable)."""

    station: str
    radio: str | None = None
    results: str | None = None
    forbid: list[Literal["call", "command"]] = []
    given: dict[str, str] = {}
    rssi_offset: Gain | None = None


def load_station(path: Path | None) -> Station:
    """The station of a file, or this machine with nothing configured. PlanError with all problems."""
    if path is None:
        return Station(platform.node() or "unnamed")
    problems = Problems()
    node = read_file(path, problems, least="write at least 'station:' with a name")
    problems.raise_if_any()
    assert node is not None
    for name, scalar in references(node):
        problems.add(scalar.place, f"a station file has no reference '{name}'", "write the value")
    problems.raise_if_any()
    station = Reader(problems).read(node, Station)
    problems.raise_if_any()
    assert station is not BAD
    return station  # type: ignore[no-any-return]
