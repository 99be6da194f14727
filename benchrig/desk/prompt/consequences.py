"""What came of deeds beyond their answer: a write that ended the link, reads that waited for a state."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from typing import Any

from benchrig.desk.prompt.deeds import Connected, ConnectionLost, Deed, ReadDone, Subject, Waited, WatchDone, WriteDone
from benchrig.errors import MalformedValue
from benchrig.values.base import flat

# The link may end so many seconds after a write because of it: a unit that restarts without a word is missed only then.
LOST_WITHIN = 10.0
# So many reads with one value, before the one with another, are somebody who waits.
LEAST_EQUAL = 2
# Characters of a text that is a state.
LONGEST = 400


def losses(deeds: Sequence[Deed]) -> dict[int, int]:
    """Which write has ended the link, by the number of its deed: the number of the loss."""
    found: dict[int, int] = {}
    last: int | None = None
    for number, deed in enumerate(deeds):
        if isinstance(deed, WriteDone):
            last = number if not deed.refused else None
        elif isinstance(deed, ConnectionLost):
            if last is not None and seconds_to(deeds[last], deed) is not None:
                found[last] = number
            last = None
        elif not isinstance(deed, (Waited, WatchDone)):
            last = None
    return found


def seconds_to(write: Deed, loss: Deed) -> float | None:
    """From a write to the loss that came of it; None where it did not."""
    if not isinstance(write, WriteDone) or not isinstance(loss, ConnectionLost) or loss.at is None:
        return None
    return loss.at - write.at if 0 <= loss.at - write.at <= LOST_WITHIN else None


def returns(deeds: Sequence[Deed]) -> dict[int, int]:
    """After which of these losses the next thing was a connection, by the number of the loss."""
    found: dict[int, int] = {}
    for loss in losses(deeds).values():
        after = (n for n in range(loss + 1, len(deeds)) if not isinstance(deeds[n], Waited))
        number = next(after, None)
        if number is not None and isinstance(deeds[number], Connected):
            found[loss] = number
    return found


def waits_for(deeds: Sequence[Deed]) -> dict[int, list[int]]:
    """Reads of one attribute that had one value again and again, and then another: by the number of the last one all of
    them, and the waits between."""
    found: dict[int, list[int]] = {}
    row: list[int] = []
    for number, deed in enumerate(deeds):
        if isinstance(deed, Waited) and row:
            row.append(number)
            continue
        first = deeds[row[0]] if row else None
        if not (isinstance(deed, ReadDone) and deed.at is not None and deed.data is not None):
            row = []
        elif isinstance(first, ReadDone) and (first.subject.name, first.subject.spec) == (
            deed.subject.name,
            deed.subject.spec,
        ):
            row.append(number)
            if reached(deeds, row):
                found[number], row = row, [number]
        else:
            row = [number]
    return found


def reached(deeds: Sequence[Deed], row: Sequence[int]) -> Mapping[str, Any]:
    """The states that the last of these reads has and none before it had, while they had one; by their readings."""
    reads = [deed for deed in (deeds[number] for number in row) if isinstance(deed, ReadDone)]
    if len(reads) <= LEAST_EQUAL:
        return {}
    try:
        *before, last = [dict(_states(deed.subject, deed.data or b"")) for deed in reads]
    except MalformedValue:
        return {}
    return {
        name: state
        for name, state in last.items()
        if len({each.get(name) for each in before}) == 1 and name in before[0] and before[0][name] != state
    }


def _states(subject: Subject, data: bytes) -> Iterator[tuple[str, str | bool]]:
    """Words and truths: a number that is another one may be noise."""
    value = subject.form.decode(data) if subject.form is not None else None
    for name, item in flat(value).items() if isinstance(value, dict) else [("", value)]:
        if isinstance(item, bool) or (isinstance(item, str) and len(item) <= LONGEST):
            yield f"value.{name}" if name else "value", item if isinstance(item, bool) else str(item)


def listens(
    deeds: Sequence[Deed], streams: Sequence[int], apart: Container[int]
) -> dict[int, tuple[list[int], list[int]]]:
    """Where something was read or written while streams were watched: by the number of the first of the watches these,
    which began one after the other, and what was done until one of them ended. `streams` are the watches that are no mere
    answers, `apart` is what no other step can have in it."""
    found: dict[int, tuple[list[int], list[int]]] = {}
    taken = -1
    for first in streams:
        if first <= taken:
            continue
        watches = _row(first, streams)
        inner = _until_one_ends(deeds, watches)
        taken = watches[-1]
        heard = {deed.subject.name for deed in (deeds[n] for n in watches) if isinstance(deed, WatchDone)}
        done = [deed for deed in (deeds[n] for n in inner) if isinstance(deed, (ReadDone, WriteDone))]
        # an operating system reads nothing that is listened to: what is read arrives as a notification there
        read = {deed.subject.name for deed in done if isinstance(deed, ReadDone)}
        if done and not heard & read and not any(n in apart for n in inner):
            found[first] = (watches, inner)
            taken = inner[-1]
    return found


def _row(first: int, streams: Sequence[int]) -> list[int]:
    row = [first]
    while row[-1] + 1 in streams:
        row.append(row[-1] + 1)
    return row


def _until_one_ends(deeds: Sequence[Deed], watches: Sequence[int]) -> list[int]:
    """Nothing where one ended with its link, lasts still, or another one begins meanwhile."""
    ends = [deed.ended for deed in (deeds[n] for n in watches) if isinstance(deed, WatchDone) and not deed.is_cut]
    if len(ends) < len(watches) or None in ends:
        return []
    end, inner = min(each for each in ends if each is not None), list[int]()
    for number in range(watches[-1] + 1, len(deeds)):
        deed = deeds[number]
        at = deed.at if isinstance(deed, (ReadDone, WriteDone, Waited)) else None
        if isinstance(deed, WatchDone) and deed.started <= end:
            return []
        if at is None or at >= end:
            break
        inner.append(number)
    return inner
