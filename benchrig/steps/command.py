"""command: a program with arguments, never through a shell."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Iterable, Mapping
from typing import ClassVar

from benchrig.errors import StationError, StepTimeout
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import SECONDS, ReadingType, Step
from benchrig.steps.bench import Bench

MAX_OUTPUT = 64 * 1024
_SHOWN = 4000


class Command(Step, kw_only=True):
    """Run a program from the plan's folder. Without a limit on `exit_code` it must be 0."""

    verb: ClassVar[str] = "command"
    needs_link: ClassVar[bool] = False
    executes: ClassVar[bool] = True
    within_default: ClassVar[float] = 60.0

    command: list[str]

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if not self.command or not self.command[0]:
            yield Misfit("a command needs a program", "for example: [esptool, version]", ("command",))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "exit_code": ReadingType("number", "", "exit status of the program; negative: killed by that signal"),
            "output": ReadingType("text", "", f"standard output, the first {MAX_OUTPUT} bytes, white space trimmed"),
            "errors": ReadingType("text", "", "standard error, likewise"),
            "elapsed": SECONDS,
        }

    @property
    def title(self) -> str:
        return f"command {self.command[0]}" if self.command else "command"

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        with bench.outside():
            code, output, errors = await self._execute(bench)
        bench.reading("exit_code", code)
        for name, text in (("output", output), ("errors", errors)):
            if bench.wanted(name):
                bench.reading(name, text)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        if errors and not bench.wanted("errors"):
            bench.note(f"{self.command[0]} said: {errors[:_SHOWN]}")
        if code != 0 and not bench.wanted("exit_code"):
            raise StationError(f"{self.command[0]} ended with exit code {code}", advice=errors[-300:])

    async def _execute(self, bench: Bench) -> tuple[int, str, str]:
        try:
            process = await self._start(bench)
        except OSError as exc:
            advice = "install it, or give its path from the plan's folder"
            raise StationError(f"{self.command[0]} cannot be started: {exc.strerror or exc}", advice=advice) from exc
        assert process.stdout is not None
        assert process.stderr is not None
        limit = bench.time_left * 0.95
        try:
            async with asyncio.timeout(limit):
                output, errors, code = await asyncio.gather(
                    _read(process.stdout), _read(process.stderr), process.wait()
                )
        except TimeoutError:
            raise StepTimeout(f"{self.command[0]} was ended: it ran longer than {limit:.3g} s") from None
        finally:
            await _end(process)
        return code, output, errors

    async def _start(self, bench: Bench) -> asyncio.subprocess.Process:
        """Start the program in a session of its own, so that its children end with it.

        An interruption that comes while it starts is held back until it can be ended as a whole: asyncio would end
        the program alone and then wait for its children.
        """
        starting = asyncio.ensure_future(
            asyncio.create_subprocess_exec(
                *self.command,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                cwd=bench.plan_folder,
                start_new_session=os.name == "posix",
            )
        )
        try:
            return await asyncio.shield(starting)
        except asyncio.CancelledError:
            await _end(await starting)
            raise


async def _read(stream: asyncio.StreamReader) -> str:
    """The beginning of what the program says; the rest is drained so that it does not stall."""
    kept = bytearray()
    while chunk := await stream.read(8192):
        kept += chunk[: MAX_OUTPUT - len(kept)]
    return kept.decode("utf-8", "replace").strip()


async def _end(process: asyncio.subprocess.Process) -> None:
    """Kill what is left of the program and its children."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGKILL)
        elif process.returncode is None:
            process.kill()
    await process.wait()
