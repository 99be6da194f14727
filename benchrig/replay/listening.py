"""What a bench heard of a unit's advertising: its data, its interval, when it was on the air and when it was not."""

from __future__ import annotations

import itertools
import statistics
from collections import Counter
from collections.abc import Iterable

from benchrig.captures.hci import AirEvent, Connected, Connecting, Heard, Scanning
from benchrig.replay.story import Advertised, Story

# Each event of an advertiser comes up to this much later (Core Vol 6 Part B 4.4.2.2.1).
LATER = 0.010
SHORTEST = 0.020
# Without a measured interval.
USUAL = 0.1
_MISSED = 3  # so many intervals without a report, and it is not on the air


class Listening:
    def __init__(self, events: Iterable[AirEvent], address: str) -> None:
        events = list(events)
        self._heard = [each for each in events if isinstance(each, Heard) and each.address == address]
        self._links = [
            each.at for each in events if isinstance(each, Connected) and not each.status and each.address == address
        ]
        self._ears = _spans(events, address)
        self._bench_ends: list[float] = []
        self.interval = self._interval()

    def _interval(self) -> float | None:
        """From the gaps between events of one span of listening: none of them is shorter."""
        times = [each.at for each in self._heard if not each.response]
        gaps = [
            later - earlier
            for earlier, later in itertools.pairwise(times)
            if later - earlier > SHORTEST / 2 and any(begin <= earlier and later <= end for begin, end in self._ears)
        ]
        if not gaps:
            return None
        single = [gap for gap in gaps if gap <= min(gaps) + LATER]
        return max(SHORTEST, statistics.fmean(single) - LATER / 2)

    def ended_by_bench(self, at: float) -> None:
        self._bench_ends.append(at)

    def back_after(self, gone: float, told: float) -> tuple[float | None, bool]:
        """Seconds from when it was gone until it was on the air again, and whether somebody listened then. None: it did not
        come. `told`: when the bench knew that it was gone."""
        interval = self.interval or USUAL
        times = [each.at for each in self._heard if each.at >= told] + [at for at in self._links if at > told]
        back = min(times, default=None)
        begin = next((begin for begin, end in self._ears if end > told and (back is None or begin <= back)), None)
        if back is None:
            listened = sum(end - max(begin, told) for begin, end in self._ears if end > told)
            return (None, True) if listened > _MISSED * (interval + LATER) else (0.0, False)
        begin = max(told, begin if begin is not None else back)
        if back - begin > interval + 2 * LATER:
            return max(0.0, back - gone - LATER / 2), True
        return max(0.0, begin - gone), False

    def tell(self, story: Story) -> None:
        """What it advertised, whether it fell silent, and when it came back from links that the bench had ended."""
        if not self._heard:
            return
        story.address_type = self._heard[0].address_type
        story.advertised = self._advertised(story)
        story.silent_after = self._silent_after()
        known = [back for at in self._bench_ends for back, is_known in [self.back_after(at, at)] if is_known and back]
        story.again_after = statistics.median(known) if known else 0.0

    def _advertised(self, story: Story) -> Advertised:
        sent, answers = ([each for each in self._heard if each.response is kind] for kind in (False, True))
        data = Counter(each.data for each in sent or answers)
        if len(data) > 1:
            story.guesses.append(f"its advertised data changed: the twin sends the most frequent ({len(data)} others)")
        levels = [each.level for each in self._heard if each.level is not None]
        return Advertised(
            data.most_common(1)[0][0] if sent else b"",
            Counter(each.data for each in answers).most_common(1)[0][0] if answers else b"",
            self.interval,
            any(each.connectable for each in sent),
            any(each.scannable for each in sent) if sent else True,
            statistics.fmean(levels) if levels else None,
            statistics.pstdev(levels) if levels else 0.0,
        )

    def _silent_after(self) -> float | None:
        """When it was heard last, where somebody listened for long after that, and no link has come of it."""
        last = self._heard[-1].at
        if any(at > last for at in self._links):
            return None
        listened = sum(max(0.0, end - max(begin, last)) for begin, end in self._ears)
        never_gone = not self._links
        return last if never_gone and listened > _MISSED * ((self.interval or USUAL) + LATER) else None


def _spans(events: Iterable[AirEvent], address: str) -> list[tuple[float, float]]:
    """When the bench would have heard it: while it scanned, or waited for a link with it."""
    spans: list[tuple[float, float]] = []
    begin: float | None = None
    last = 0.0
    for event in events:
        last = event.at
        is_on = (isinstance(event, Scanning) and event.on) or (
            isinstance(event, Connecting) and event.address == address
        )
        is_over = isinstance(event, Connected) or (isinstance(event, Scanning) and not event.on)
        if begin is not None and (is_over or is_on):
            spans.append((begin, event.at))
            begin = None
        if is_on:
            begin = event.at
    return [*spans, (begin, last)] if begin is not None else spans
