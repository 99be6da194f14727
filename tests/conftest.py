"""What all tests stand on.

Property tests: the default suite draws the same examples every time; `--hypothesis-profile search` draws new ones.
Signals: whoever starts the suite (nohup, a job in the background) may have them ignored, and processes inherit that.
Bytecode: whoever starts it may have it switched off; then each of hundreds of processes would compile the package anew.
Bonds: what a test pairs goes to a folder of the test process, not to that of whoever runs the suite.
asyncio's debug mode, which the slow tests have in CI (`-o asyncio_debug=true`), keeps the place where a task, future or callback was made: one frame of it, and no look at its file;
whole stacks double the time.
Garbage: what is there before the first test (thousands of tests among it) is never looked through again, the rest seldom.
"""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import signal
import sys
import tempfile
import traceback
from asyncio import constants, format_helpers
from collections.abc import Generator
from types import FrameType

import pytest
from hypothesis import settings

pytest_plugins = ["pytester"]

gc.set_threshold(10_000)  # what benchrig.collector takes for the usual one

from benchrig import collector  # noqa: E402

settings.register_profile("repeatable", deadline=None, derandomize=True, max_examples=15)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile("repeatable")

_USUAL = {"SIGINT": signal.default_int_handler, "SIGTERM": signal.SIG_DFL, "SIGHUP": signal.SIG_DFL}
for name, handler in _USUAL.items():
    number = getattr(signal, name, None)  # Windows has no SIGHUP
    if number is not None and signal.getsignal(number) is signal.SIG_IGN:
        signal.signal(number, handler)

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp(prefix="benchrig-data-")
atexit.register(shutil.rmtree, os.environ["XDG_DATA_HOME"], ignore_errors=True)


def _place(frame: FrameType | None = None, limit: int | None = None) -> traceback.StackSummary:
    frame = frame or sys._getframe(1)
    code = frame.f_code
    place = traceback.FrameSummary(code.co_filename, frame.f_lineno, code.co_name, lookup_line=False)
    return traceback.StackSummary([place])


constants.DEBUG_STACK_DEPTH = 1  # of coroutines
format_helpers.extract_stack = _place  # of callbacks
traceback.extract_stack.__defaults__ = (None, 1)  # of futures and tasks, whose C code says no limit


@pytest.hookimpl(wrapper=True, optionalhook=True)
def pytest_xdist_auto_num_workers() -> Generator[None, int, int]:
    """One more than there are processors, if nobody says how many: tests of real time and of other processes wait."""
    count = yield
    return count + ("PYTEST_XDIST_AUTO_NUM_WORKERS" not in os.environ)


collector.begin()


def pytest_collection_finish() -> None:
    collector.loaded()


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish() -> None:
    """pytest looks for garbage ten times before it ends: once is enough."""
    gc.collect()
    collector.end()
