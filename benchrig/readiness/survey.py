"""Looks at the radios of this machine.

What may crash or hang (USB, D-Bus, opening a port, a system that ends whatever asks for Bluetooth) happens in a process
of its own, `python -m benchrig.readiness.probing`, which says what it is about to do before it does it.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
import tempfile
from collections.abc import AsyncIterator, Sequence
from typing import IO, TYPE_CHECKING

import msgspec

from benchrig.loop import in_loop, interruptible
from benchrig.readiness.checks import Beginning, Check, Station, Word

if TYPE_CHECKING:
    from benchrig.radio.specify import RadioChoice

# A step that is silent for longer hangs: opening a controller and asking it have 10 s each.
PATIENCE = 25.0
# A process that was told to end.
END_WITHIN = 5.0


def probe_command(what: str, detail: str, listen: float) -> list[str]:
    """What looks at 'host', 'hci' or 'attached' in a process of its own."""
    return [sys.executable, "-m", "benchrig.readiness.probing", what, detail, str(listen)]


async def probe(command: Sequence[str], radio: str, station: Station, patience: float = PATIENCE) -> None:
    """Let a process look, and add what it says; a process that hangs or dies is a 'no' of the check it was at."""
    at = Beginning(radio, "look")
    with tempfile.TemporaryFile() as errors:
        async with _process(command, errors) as process:
            try:
                async for word in _words(process, patience):
                    if isinstance(word, Beginning):
                        at = word
                    else:
                        station.add(word)
            except TimeoutError:
                process.kill()
                station.add(_silent(at, patience))
                return
        if process.returncode:
            station.add(_died(at, process.returncode, errors))


@contextlib.asynccontextmanager
async def _process(command: Sequence[str], errors: IO[bytes]) -> AsyncIterator[asyncio.subprocess.Process]:
    process = await asyncio.create_subprocess_exec(
        *command, stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=errors
    )
    try:
        yield process
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(END_WITHIN):
                await process.wait()
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


async def _words(process: asyncio.subprocess.Process, patience: float) -> AsyncIterator[Word]:
    """What it says, until it closes its output. TimeoutError."""
    assert process.stdout is not None
    while True:
        async with asyncio.timeout(patience):
            line = await process.stdout.readline()
        if not line:
            return
        with contextlib.suppress(msgspec.DecodeError):  # what a library prints is none of it
            yield msgspec.json.decode(line, type=Word)


def _silent(at: Beginning, patience: float) -> Check:
    return Check(
        at.radio, at.check, "no", f"no answer within {patience:g} s", "restart what is asked here", blocks=True
    )


def _died(at: Beginning, code: int, errors: IO[bytes]) -> Check:
    """A crash is told by its signal, a mistake of ours by its last line."""
    errors.seek(0)
    said = errors.read().decode("utf-8", "replace").strip().splitlines()
    ended = f"signal {_signal(-code)}" if code < 0 else f"exit code {code}"
    found = f"the process that looked ended with {ended}" + (f": {said[-1]}" if said else "")
    # macOS ends a process that uses Bluetooth without the user's leave
    refused = sys.platform == "darwin" and code == -signal.SIGABRT
    advice = "allow this terminal the use of Bluetooth in the privacy settings" if refused else "see the system's log"
    return Check(at.radio, at.check, "no", found, advice, blocks=True)


def _signal(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return str(number)


async def survey(choice: RadioChoice | None, station: Station, listen: float) -> None:
    """Look at a radio of this machine; for None at every adapter, and for what else is attached."""
    if choice is None:
        await probe(probe_command("host", "*", listen), "host", station)
        await probe(probe_command("attached", "", listen), "hci", station)
    else:
        await probe(probe_command(choice.kind, choice.adapter, listen), str(choice), station)


def attend(choice: RadioChoice | None, station: Station, listen: float) -> None:
    """Do the survey in a loop of its own; a signal ends it and the processes that look. OperatorError."""
    in_loop(interruptible(survey(choice, station, listen)), None)
