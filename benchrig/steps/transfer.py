"""A file written to one attribute, in pieces, as fast as the link takes them."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import AttError, LinkError, LinkLost, NoAnswer, StepTimeout, UnfitValue
from benchrig.source.problem import counted
from benchrig.steps.payload import LONGEST
from benchrig.steps.size import Size

if TYPE_CHECKING:
    from benchrig.radio.table import Attribute
    from benchrig.steps.bench import Bench

# Bytes of a file.
MOST = 1 << 24


def file_bytes(folder: Path, name: str) -> bytes:
    """The bytes of a file beside the plan. UnfitValue when it cannot be sent."""
    path = folder / name
    try:
        if path.stat().st_size > MOST:
            raise UnfitValue(f"the file {name} has more than {MOST >> 20} MiB", advice="write a smaller file")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise UnfitValue(
            f"cannot read the file {name}: {why}", advice=f"{name} is looked for beside the plan"
        ) from error
    if not data:
        raise UnfitValue(f"the file {name} is empty", advice="write the file that is meant")
    return data


def check_size(name: str, data: bytes, pieces: Size | None) -> None:
    """UnfitValue for a file that one write does not hold, where it is to be sent in one."""
    if pieces is None and len(data) > LONGEST:
        message = f"the file {name} has {len(data)} bytes; an attribute value has at most {LONGEST}"
        raise UnfitValue(message, advice="add pieces: payload")


@dataclass
class Transfer:
    """The pieces of one file on their way to one attribute. `ends_link`: the link is meant to end with the last one."""

    bench: Bench
    attribute: Attribute
    data: bytes
    size: int
    response: bool
    ends_link: bool = False
    sent: int = 0
    _longest: float = field(default=0.0, repr=False)

    @property
    def total(self) -> int:
        return -(-len(self.data) // self.size)

    def note(self, name: str) -> str:
        """What is sent, for the record."""
        parts = f"in {counted(self.total, 'piece')} of up to {counted(self.size, 'byte')}"
        return (
            f"sends {name}: {counted(len(self.data), 'byte')} {parts}, SHA-256 {hashlib.sha256(self.data).hexdigest()}"
        )

    async def run(self, doing: str) -> None:
        """Send all. Whatever ends it early is told with how far it came."""
        with self._told():
            for start in range(0, len(self.data), self.size):
                await self._send(self.data[start : start + self.size], doing)
            if not self.response:
                await self.bench.link.flush(doing, self.bench.time_left)

    async def _send(self, piece: bytes, doing: str) -> None:
        bench, begun = self.bench, self.bench.now()
        if bench.time_left < 2 * self._longest:
            raise StepTimeout("the time of the step is over")
        bench.acts()
        await bench.link.write(self.attribute, piece, doing, bench.time_left, response=self.response)
        self.sent += 1
        self._longest = max(self._longest, bench.now() - begun)

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except AttError:
            self.bench.note(f"the device refused after {self._progress}")
            raise
        except LinkLost as error:
            # with the last piece the link may end where it is meant to: before that it is a transfer that failed
            if self.ends_link and self.sent >= self.total - 1:
                raise
            kind = LinkError if self.ends_link else LinkLost
            raise kind(f"{error.message}, after {self._progress}") from error
        except NoAnswer as error:
            if self.response:
                raise NoAnswer(f"{error.message}, after {self._progress}") from error
            raise StepTimeout(f"the link took no more within the time of the step, after {self._progress}") from error
        except StepTimeout as error:
            raise StepTimeout(
                f"{error.message}, after {self._progress}", advice="give the step a longer within"
            ) from error

    @property
    def _progress(self) -> str:
        done = min(self.sent * self.size, len(self.data))
        return f"{self.sent} of {counted(self.total, 'piece')} ({done} of {counted(len(self.data), 'byte')})"
