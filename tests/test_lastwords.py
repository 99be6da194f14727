"""The process's last words, on streams of a real process: closed, full, gone, and in another character set."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Mapping
from types import MappingProxyType

import pytest

from benchrig import lastwords

FULL = "/dev/full"
needs_full = pytest.mark.skipif(not os.path.exists(FULL), reason="this system has no device that is always full")


def ended(body: str, tail: str = "", env: Mapping[str, str] = MappingProxyType({})) -> subprocess.CompletedProcess[str]:
    """A process that runs `body` as its command, its streams changed by `tail`, a piece of shell."""
    program = f"import sys\nfrom benchrig import lastwords\ndef command():\n    {body}\nlastwords.run(command)\n"
    script = f'"{sys.executable}" -c "$PROGRAM" {tail}'
    return subprocess.run(
        ["bash", "-c", script], env=os.environ | {"PROGRAM": program, **env}, capture_output=True, text=True, timeout=30
    )


@pytest.mark.parametrize("code", [0, 1, 2, 3, 4, 5, 7])
def test_the_exit_code_is_the_commands(code):
    assert ended(f"sys.exit({code})").returncode == code


@pytest.mark.parametrize("tail", ["2>/dev/full", "2>&-", "<&-", ">&-", "<&- >&- 2>&-", ">/dev/full 2>/dev/full"])
def test_outputs_do_not_change_an_exit_code(tail):
    assert ended("sys.stdout.write('what'); sys.stderr.write('why\\n'); sys.exit(4)", tail).returncode == 4


@needs_full
def test_results_that_were_lost_on_a_full_disk_are_no_success():
    done = ended("sys.stdout.write('results')", ">/dev/full")
    assert (done.returncode, done.stderr) == (7, "benchrig: the output cannot be written: No space left on device\n")


def test_a_reader_that_is_gone_wants_nothing():
    assert ended("sys.stdout.write('results')", "| true; exit ${PIPESTATUS[0]}").returncode == 0


def test_what_nobody_expects_is_an_internal_error():
    done = ended("1 / 0")
    assert (done.returncode, "ZeroDivisionError" in done.stderr) == (3, True)


def test_a_character_that_the_output_lacks_is_an_escape():
    done = ended(r"sys.stdout.write('\u6e29')", env={"PYTHONIOENCODING": "cp1252"})
    assert (done.returncode, done.stdout) == (0, r"\u6e29")


def test_a_thread_that_never_ends_does_not_keep_the_process():
    body = "import threading, time; threading.Thread(target=time.sleep, args=(100,)).start(); sys.exit(1)"
    assert ended(body).returncode == 1


class Broken(io.RawIOBase):
    """Fails always."""

    def writable(self) -> bool:
        return True

    def write(self, _: object) -> int:
        raise BrokenPipeError

    def isatty(self) -> bool:
        return False


def test_a_loud_stream_raises_once():
    stream = lastwords.steady(io.TextIOWrapper(io.BufferedWriter(Broken()), "utf-8"), loud=True)
    stream.write("a")
    with pytest.raises(BrokenPipeError):
        stream.flush()
    stream.write("b")
    stream.flush()


def test_a_quiet_stream_never_raises():
    stream = lastwords.steady(io.TextIOWrapper(io.BufferedWriter(Broken()), "utf-8"), loud=False)
    stream.write("a\n")
    stream.flush()
    assert stream.errors == "backslashreplace"
