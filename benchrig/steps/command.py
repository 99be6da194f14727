"""command: a program with arguments, never through a shell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import ClassVar

from benchrig.errors import StationError, UsageError
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, About, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.loss import LOSS
from benchrig.steps.program import MAX_OUTPUT, Program

_SHOWN = 4000


class Command(Step, kw_only=True):
    """Run a program from the plan's folder. Without a limit on `exit_code` it must be 0."""

    verb: ClassVar[str] = "command"
    may_lose: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False
    executes: ClassVar[bool] = True
    within_default: ClassVar[float] = 60.0
    shown: ClassVar[dict[str, str]] = {"command": "would be visible in the process list"}

    command: list[str]
    about: About | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if not self.command or not self.command[0]:
            yield Misfit("a command needs a program", "for example: [esptool, version]", ("command",))
        for index, argument in enumerate(self.command):
            if "\0" in argument:
                yield Misfit("an argument of a program cannot hold a zero character", path=("command", index))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "exit_code": ReadingType("number", "", "exit status of the program; negative: killed by that signal"),
            "output": ReadingType("text", "", f"standard output, the first {MAX_OUTPUT} bytes, white space trimmed"),
            "errors": ReadingType("text", "", "standard error, likewise"),
            "elapsed": SECONDS,
            **LOSS,
        }

    @property
    def title(self) -> str:
        return f"command {self.command[0]}" if self.command else "command"

    async def run(self, bench: Bench) -> None:
        bench.acts()
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
        if code != 0 and "exit_code" not in self.limits:
            raise StationError(f"{self.command[0]} ended with exit code {code}", advice=errors[-300:])

    async def _execute(self, bench: Bench) -> tuple[int, str, str]:
        program = self._start(bench.plan_folder)
        within = bench.time_left * 0.95
        try:
            code = await program.ended(within)
            if code is None:
                raise StationError(f"{self.command[0]} was ended: it ran longer than {within:.3g} s")
            if not await program.silent():
                bench.note(f"{self.command[0]} left a process behind that has its output open")
        finally:
            await program.end()
        return code, *program.texts

    def _start(self, folder: Path) -> Program:
        try:
            return Program(self.command, folder)
        except OSError as exc:
            advice = "install it, or give its path from the plan's folder"
            raise StationError(f"{self.command[0]} cannot be started: {exc.strerror or exc}", advice=advice) from exc
        except ValueError as exc:
            raise UsageError(f"{self.command[0]} cannot be started: its arguments have {exc}") from exc
