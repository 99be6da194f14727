"""Ten requirements and more on a controller behind TCP: the sound unit passes, its twin fails where it is broken."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.contract.radios import air_on_tcp, run_on
from tests.requirements import ALL
from tests.requirements.kit import Entry, entries

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
COUNT = len(entries(ALL, Path()))


@pytest.fixture(scope="module")
def air(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[Entry]]]:
    """All of them in one air, each under a name of its own."""
    listed = entries(ALL, tmp_path_factory.mktemp("units"))
    with air_on_tcp(*[entry.write() for entry in listed]) as radio:
        yield radio, listed


@pytest.mark.parametrize("number", range(COUNT))
def test_a_requirement_on_hci(air: tuple[str, list[Entry]], number: int, tmp_path: Path) -> None:
    radio, listed = air
    entry = listed[number]
    wrong = entry.wrong(run_on(radio, entry.plan, tmp_path / "first").record)
    if wrong:  # a busy machine makes pauses of its own
        wrong = entry.wrong(run_on(radio, entry.plan, tmp_path / "second").record)
    assert wrong == ""
