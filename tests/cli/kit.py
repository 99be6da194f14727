"""The command line from outside: processes, their files, and pseudo-terminals."""

from __future__ import annotations

import contextlib
import errno
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

from click.testing import CliRunner

from benchrig.cli import main
from benchrig.report.registry import reports
from tests.run.kit import device_text, plan_text

COMMAND = [sys.executable, "-m", "benchrig"]
PATIENCE = 20.0
# What a run leaves in its folder.
RUN_FILES = {"record.jsonl", *(report.file_name for report in reports())}
PLAIN = ("NO_COLOR", "CI", "FORCE_COLOR", "COLUMNS", "LINES", "TERM")


def environment(**more: str) -> dict[str, str]:
    """This process's own, without what bears on output, and with `more`."""
    return {**{key: value for key, value in os.environ.items() if key not in PLAIN}, "TERM": "xterm", **more}


def benchrig(
    *arguments: str | Path, cwd: Path, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run to the end with nobody at the terminal."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        cwd=cwd,
        env=environment(**(env or {})),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
    )


def here(*arguments: str | Path, cwd: Path, env: Mapping[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """The same in this process, ten times as quick; what only a process has (signals, streams, its end) is not tested."""
    words = [*map(str, arguments)]
    with contextlib.chdir(cwd), mock.patch.dict(os.environ, environment(**(env or {})), clear=True):
        done = CliRunner().invoke(main, words)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return subprocess.CompletedProcess(words, done.exit_code, done.stdout, done.stderr)


Start = Callable[..., subprocess.CompletedProcess[str]]


@dataclass
class Files:
    """A folder with plan.yaml and device.yaml."""

    folder: Path

    @property
    def radio(self) -> str:
        return "virtual:device.yaml"

    def records(self) -> list[Path]:
        return sorted(self.folder.glob("results/*/record.jsonl"))


THERMOMETER = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, write], value: 21.5 °C}
"""


def files(folder: Path, steps: str, *, head: str = "", device: str = THERMOMETER, cleanup: str = "") -> Files:
    (folder / "plan.yaml").write_text(plan_text(steps, head=head) + cleanup, encoding="utf-8")
    (folder / "device.yaml").write_text(device_text(device), encoding="utf-8")
    return Files(folder)


def wait_for(path: Path, text: str) -> None:
    """Until a file below the path (a pattern's folder) has the text."""
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        if any(text in found.read_text(encoding="utf-8") for found in path.glob("results/*/record.jsonl")):
            return
        time.sleep(0.01)
    raise AssertionError(f"no record came to {text!r}")


@dataclass
class Terminal:
    """A process on a pseudo-terminal: what it has shown so far, and a keyboard."""

    process: subprocess.Popen[bytes]
    master: int
    shown: str = ""
    _raw: bytearray = field(default_factory=bytearray)
    _past: int = 0

    def until(self, text: str) -> str:
        """Read on until the text was shown, after what was waited for before: a second question is not the first."""
        deadline = time.monotonic() + PATIENCE
        while (found := self.shown.find(text, self._past)) < 0:
            assert time.monotonic() < deadline, f"{text!r} was not shown, only: {self.shown}"
            if not self._read(0.1) and self.process.poll() is not None:
                assert text in self.shown[self._past :], f"{text!r} was not shown, only: {self.shown}"
        self._past = found + len(text)
        return self.shown

    def type(self, text: str) -> None:
        os.write(self.master, text.encode())

    def press_until_end(self, key: str) -> int:
        """Press a key again and again, as people do: a signal just before a blocking read is seen after it only."""
        deadline = time.monotonic() + PATIENCE
        while self.process.poll() is None:
            assert time.monotonic() < deadline, f"it does not end: {self.shown}"
            self.type(key)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(2.0)
        return self.end()

    def end(self) -> int:
        """Read to the end; the exit code."""
        deadline = time.monotonic() + PATIENCE
        while self._read(0.1) or self.process.poll() is None:
            assert time.monotonic() < deadline, f"it does not end: {self.shown}"
        return self.process.wait()

    def _read(self, seconds: float) -> bool:
        if not select.select([self.master], [], [], seconds)[0]:
            return False
        try:
            data = os.read(self.master, 65536)
        except OSError as exc:
            if exc.errno != errno.EIO:  # what Linux says when the other side is closed
                raise
            return False
        self._raw += data
        self.shown = self._raw.decode("utf-8", "replace")
        return bool(data)


class OnTerminal:
    """`with OnTerminal(folder, 'run', 'plan.yaml') as terminal:`"""

    def __init__(self, cwd: Path, *arguments: str | Path, columns: int = 100, **env: str) -> None:
        process, self._master = on_pty([*COMMAND, *map(str, arguments)], cwd, columns, 40, env)
        self.terminal = Terminal(process, self._master)

    def __enter__(self) -> Terminal:
        return self.terminal

    def __exit__(self, *_: object) -> None:
        if self.terminal.process.poll() is None:
            self.terminal.process.send_signal(signal.SIGKILL)
            self.terminal.process.wait()
        os.close(self._master)


def on_pty(
    words: Sequence[str], cwd: Path, columns: int, lines: int, env: Mapping[str, str]
) -> tuple[subprocess.Popen[bytes], int]:
    """The command on a pseudo-terminal of this size, and the other end of that, which the caller closes."""
    master, slave = pty.openpty()
    resize(slave, columns, lines)
    process = subprocess.Popen(
        words,
        cwd=cwd,
        env=environment(**env),
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        preexec_fn=take_terminal,
    )
    os.close(slave)
    return process, master


def resize(slave: int, columns: int, lines: int = 40) -> None:
    import fcntl
    import struct
    import termios

    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))


def take_terminal() -> None:
    """Make the pseudo-terminal the controlling one, so that Ctrl-C on it is a signal."""
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
