"""When Python looks for garbage."""

from __future__ import annotations

import gc
import weakref
from collections.abc import Iterator

import pytest

from benchrig import collector


@pytest.fixture(autouse=True)
def _as_in_another_program(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Nothing is frozen, whatever conftest has set aside; afterwards all is as before."""
    usual, was_frozen = gc.get_threshold(), gc.get_freeze_count() > 0
    monkeypatch.setattr(collector, "_is_aside", False)
    gc.unfreeze()
    yield
    gc.set_threshold(*usual)
    (gc.freeze if was_frozen else gc.unfreeze)()


def test_what_a_process_loads_is_never_looked_through_again() -> None:
    usual = gc.get_threshold()
    collector.begin()
    assert gc.get_threshold()[0] >= 10 * usual[0]
    collector.loaded()
    loaded = gc.get_freeze_count()
    assert loaded > 1000
    assert gc.get_threshold() == usual
    with collector.set_aside():
        assert gc.get_freeze_count() == loaded
    assert gc.get_freeze_count() == loaded


def test_in_another_program_nothing_is_frozen() -> None:
    usual = gc.get_threshold()
    collector.loaded()
    assert (gc.get_freeze_count(), gc.get_threshold()) == (0, usual)


def test_what_another_program_has_frozen_stays_so() -> None:
    gc.freeze()
    frozen = gc.get_freeze_count()
    for _ in range(2):
        with collector.set_aside():
            pass
    assert gc.get_freeze_count() == frozen


def test_a_run_within_a_run_ends_nothing() -> None:
    with collector.set_aside():
        with collector.set_aside():
            pass
        assert gc.get_freeze_count() > 1000
    assert gc.get_freeze_count() == 0


def test_it_is_paused_where_it_was_on() -> None:
    with collector.paused():
        assert not gc.isenabled()
        with collector.paused():
            pass
        assert not gc.isenabled()
    assert gc.isenabled()


class _Cycle:
    def __init__(self) -> None:
        self.itself = self


def test_run_after_run_in_one_process_leaves_nothing() -> None:
    left = []
    for _ in range(collector._LOOKS_AFTER):
        with collector.set_aside():
            left.append(weakref.ref(_Cycle()))
    assert sum(one() is not None for one in left) < collector._LOOKS_AFTER
