"""When Python looks for garbage."""

from __future__ import annotations

import gc
import subprocess
import sys
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
        assert 1000 < gc.get_freeze_count() <= loaded, "nothing new; what nobody needs any more goes all the same"
    assert 1000 < gc.get_freeze_count() <= loaded


def test_in_another_program_nothing_is_frozen() -> None:
    usual = gc.get_threshold()
    collector.loaded()
    assert (gc.get_freeze_count(), gc.get_threshold()) == (0, usual)


def test_what_another_program_has_frozen_stays_so() -> None:
    gc.freeze()
    for _ in range(2):
        with collector.set_aside():
            pass
    assert gc.get_freeze_count() > 1000


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


# in a process of its own, where little is there to look through
RUN_AFTER_RUN = """
import weakref
from benchrig import collector
class Cycle:
    def __init__(self):
        self.itself = self
left = []
for _ in range(200):
    with collector.set_aside():
        left.append(weakref.ref(Cycle()))
print(sum(one() is not None for one in left))
"""


def test_run_after_run_in_one_process_leaves_nothing() -> None:
    done = subprocess.run([sys.executable, "-c", RUN_AFTER_RUN], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 100
