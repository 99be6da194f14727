"""Who gets the signals of the process when."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading

import pytest

from benchrig import signals
from tests.cli.kit import PATIENCE


def send(number: signal.Signals = signal.SIGTERM) -> None:
    os.kill(os.getpid(), number)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_handlers_are_given_back_whatever_happens(number: signal.Signals) -> None:
    before = signal.getsignal(number)
    came: list[int] = []
    with contextlib.suppress(ZeroDivisionError), signals.handed_to(lambda: came.append(1)):
        send(number)
        raise ZeroDivisionError
    assert (came, signal.getsignal(number)) == ([1], before)


def test_one_that_is_ignored_stays_so() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with signals.handed_to(lambda: pytest.fail("it was handed on")):
            send(signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)


def test_only_the_main_thread_has_handlers() -> None:
    came: list[str] = []

    def work() -> None:
        with signals.handed_to(lambda: None):
            came.append("done")

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert came == ["done"]


def test_a_process_that_did_not_begin_so_keeps_its_signals() -> None:
    before = signal.getsignal(signal.SIGTERM)
    signals.hold()
    signals.let_through()
    signals.ignore()
    assert signal.getsignal(signal.SIGTERM) is before


HELD = """
import os, signal
from benchrig import signals
signals.begin()
os.kill(os.getpid(), signal.SIGTERM)
print("held", flush=True)
try:
    signals.let_through()
except KeyboardInterrupt:
    print("interrupted", flush=True)
signals.hold()
os.kill(os.getpid(), signal.SIGHUP)
with signals.handed_to(lambda: print("handed on", flush=True)):
    pass
signals.ignore()
os.kill(os.getpid(), signal.SIGINT)
"""


def test_one_that_is_held_is_not_lost() -> None:
    done = subprocess.run([sys.executable, "-c", HELD], capture_output=True, text=True, timeout=PATIENCE)
    assert (done.returncode, done.stdout.split("\n")[:3]) == (0, ["held", "interrupted", "handed on"])
