"""The shortest part of a list that still does it: delta debugging, with as few trials as it can.

A trial costs a device its life, so what was tried is remembered, and `may_go_on` may end it early with what was found so far.
"""

from __future__ import annotations

import itertools
from collections.abc import Awaitable, Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from benchrig.requests.request import Reconnect, Request, Send, Storm

T = TypeVar("T")


def tails(items: Sequence[T]) -> Iterator[list[T]]:
    """The last item, the last four, sixteen, and all at last."""
    size = 1
    while size < len(items):
        yield list(items[-size:])
        size *= 4
    yield list(items)


async def first_that(lists: Iterable[list[T]], does_it: Callable[[list[T]], Awaitable[bool]]) -> list[T]:
    """The first list that does it; [] for none."""
    for each in lists:
        if each and await does_it(each):
            return each
    return []


async def shrunk(
    items: Sequence[T], does_it: Callable[[list[T]], Awaitable[bool]], may_go_on: Callable[[], bool] = lambda: True
) -> list[T]:
    """A part of the items, in their order, that does it, and of which nothing can be left out. All of them do it."""
    found, pieces = list(items), 2
    while len(found) > 1 and may_go_on():
        smaller = await _smaller(found, pieces, does_it, may_go_on)
        if smaller is not None:
            found, pieces = smaller, max(2, min(pieces - 1, len(smaller)))
        elif pieces >= len(found):
            break
        else:
            pieces = min(2 * pieces, len(found))
    return found


async def _smaller(
    items: list[T], pieces: int, does_it: Callable[[list[T]], Awaitable[bool]], may_go_on: Callable[[], bool]
) -> list[T] | None:
    """One of so many pieces, or all but one, that does it; None for none."""
    edges = [len(items) * number // pieces for number in range(pieces + 1)]
    spans = list(itertools.pairwise(edges))
    for first, last in spans:
        if may_go_on() and await does_it(items[first:last]):
            return items[first:last]
    for first, last in spans if pieces > 2 else ():
        if may_go_on() and await does_it(items[:first] + items[last:]):
            return items[:first] + items[last:]
    return None


# What is enough where the number of times is what does it.
_MANY_WRITES, _MANY_LINKS = 100, 20
# What leaks a little each time needs more.
_VERY_MANY = 10


def joined(requests: Iterable[Request]) -> list[Request]:
    """The same with reconnections that follow each other as one request."""
    found: list[Request] = []
    for request in requests:
        last = found[-1] if found else None
        if isinstance(request, Reconnect) and isinstance(last, Reconnect):
            found[-1] = Reconnect(last.times + request.times)
        else:
            found.append(request)
    return found


def extent(requests: Iterable[Request]) -> int:
    """So many frames go out."""
    return sum(each.times if isinstance(each, Storm) else 1 for each in requests)


def amplified(requests: Sequence[Request], *, longer: bool = False) -> Iterator[Request]:
    """Single requests that may do what several do, by doing one thing more often."""
    factor = _VERY_MANY if longer else 1
    if any(isinstance(request, Reconnect) for request in requests):
        yield Reconnect(factor * _MANY_LINKS)
    for handle in dict.fromkeys(filter(None, map(_configured, requests))):
        yield Storm(handle, factor * _MANY_WRITES)


def _configured(request: Request) -> int:
    """The handle that two octets are written to, as to a client characteristic configuration; 0 for none."""
    if isinstance(request, Storm):
        return request.handle
    is_write = isinstance(request, Send) and len(request.octets) == 5 and request.octets[0] == 0x12
    return int.from_bytes(request.octets[1:3], "little") if is_write and isinstance(request, Send) else 0
