"""When Python looks for garbage."""

from __future__ import annotations

import gc
import weakref
from collections.abc import Iterator

import pytest

from benchrig import collector


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    usual = gc.get_threshold()
    yield
    gc.unfreeze()
    gc.set_threshold(*usual)


def test_what_a_process_loads_is_never_looked_through_again() -> None:
    usual = gc.get_threshold()
    collector.begin()
    assert gc.get_threshold()[0] > 10 * usual[0]
    collector.loaded()
    assert gc.get_freeze_count() > 1000
    assert gc.get_threshold() == usual


def test_in_another_program_nothing_is_frozen() -> None:
    usual = gc.get_threshold()
    collector.loaded()
    assert (gc.get_freeze_count(), gc.get_threshold()) == (0, usual)


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
    for _ in range(200):
        with collector.set_aside():
            left.append(weakref.ref(_Cycle()))
    assert sum(one() is not None for one in left) < 100
