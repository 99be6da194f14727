"""Lines that no person types: from a pipe or a file."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING

from benchrig.desk.prompt.verbs import do, says_something
from benchrig.threads import once_readable

if TYPE_CHECKING:
    from benchrig.desk.prompt.session import Session

_CHUNK = 65536


async def run_lines(session: Session, source: int, failed: Callable[[str, Exception], None]) -> None:
    """Do what each line of an open file says, up to its end or to the first failure: that is told to `failed`, with
    the line, and raised. A file that says nothing connects, as a prompt does. MalformedValue at the end when values
    did not fit their format: nobody looked at them."""
    try:
        await _do_lines(session, source, failed)
    finally:
        await session.close()
    session.check()


async def _do_lines(session: Session, source: int, failed: Callable[[str, Exception], None]) -> None:
    said = False
    async for line in lines_of(source):
        said = said or says_something(line)
        if not await _done(session, line, failed):
            return
    if not said:
        await _done(session, "connect", failed)


async def _done(session: Session, line: str, failed: Callable[[str, Exception], None]) -> bool:
    try:
        return await do(session, line)
    except Exception as error:
        failed(line, error)
        raise


async def lines_of(source: int) -> AsyncIterator[str]:
    """The lines of an open file as they come; the clock of a virtual radio is the real one while they do not."""
    left = b""
    while data := await _some(source):
        *lines, left = (left + data).split(b"\n")
        for line in lines:
            yield line.decode("utf-8", "replace").rstrip("\r")
    if left:
        yield left.decode("utf-8", "replace")


async def _some(source: int) -> bytes:
    """What is there to read, b'' at the end."""
    return await once_readable(source, lambda: os.read(source, _CHUNK))
