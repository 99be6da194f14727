"""The capture of a link -> its story, and what was sent unasked. Attributes are known by their handles.

ATT PDUs: Core Vol 3 Part F 3.4. A notification soon after a write answers it where the characteristic sends at no other time.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TypeAlias

from benchrig.captures.hci import ATT, AirEvent, Connected, Ended, Heard, Pdu, Scanning, Traffic
from benchrig.desk.paths import Place
from benchrig.draft.evidence import StreamSeen
from benchrig.radio.losses import LOSSES
from benchrig.study.tolerance import Group
from benchrig.twin.story import Act, Answer, Story
from benchrig.values.catalogue import att_error_name

# From a handle to the place of the attribute.
PlaceOf = Callable[[int], Place | None]
_ERROR, _READ, _READ_BACK, _BLOB, _BLOB_BACK = 0x01, 0x0A, 0x0B, 0x0C, 0x0D
_WRITE, _WRITTEN, _COMMAND = 0x12, 0x13, 0x52
_SENT = (0x1B, 0x1D)
# An answer comes within so many seconds.
_ANSWER_WITHIN = 2.0
# A unit that is not heard for so long does not advertise.
_SILENCE = 5.0
_FELL_SILENT = 0x08
# So many usual gaps are a pause.
_PAUSE = 5
# When, what, and the number of the act that was a write shortly before.
_Sent: TypeAlias = "tuple[float, bytes, int | None]"


@dataclass
class _Link:
    """`asked`: the request that waits for its answer, with the handle and what it brings."""

    asked: tuple[int, int, bytes] | None = None
    asked_at: float = 0.0
    written: Act | None = None


@dataclass
class CaptureTold:
    """`streams` are of the characteristics that send by themselves."""

    story: Story
    streams: list[StreamSeen] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)


def told_by(traffic: Traffic, addresses: Collection[str], place_of: PlaceOf, source: str) -> CaptureTold:
    """What concerns the unit with one of these addresses."""
    reading = _Reading(addresses, place_of, source)
    for event in traffic.events:
        reading.take(event)
    return reading.told()


class _Reading:
    def __init__(self, addresses: Collection[str], place_of: PlaceOf, source: str) -> None:
        self._addresses, self._place_of, self._source = addresses, place_of, source
        self._links: dict[int, _Link] = {}
        self._acts: list[Act] = []
        self._levels: list[float] = []
        # what came of each characteristic: when, what, and the write before it as a number among the acts
        self._sent: dict[Place, list[_Sent]] = {}
        self._latest_write: int | None = None
        self._unit = ""
        # when the scan that goes on began, and when the unit was heard last
        self._scans_from: float | None = None
        self._heard_at = self._last = 0.0

    def take(self, event: AirEvent) -> None:
        self._last = event.at
        if isinstance(event, Heard) and event.address in self._addresses:
            self._heard(event)
        elif isinstance(event, Connected) and event.status == 0 and event.address in self._addresses:
            self._unit = event.address
            self._links[event.handle] = _Link()
            self._acts.append(Act("connect", event.at, self._where(event.at)))
        elif isinstance(event, Ended) and self._links.pop(event.handle, None) is not None:
            self._ended(event)
        elif isinstance(event, Scanning):
            self._end_of_scan(event.at)
            self._scans_from = event.at if event.on else None
        elif isinstance(event, Pdu) and event.channel == ATT and event.octets and event.handle in self._links:
            self._pdu(self._links[event.handle], event)

    def _where(self, at: float) -> str:
        return f"{self._source}, {at:.3f} s"

    def _ended(self, event: Ended) -> None:
        reason, last = LOSSES.get(event.reason, ""), self._acts[-1] if self._acts else None
        if event.reason == _FELL_SILENT:
            self._acts.append(Act("restart", event.at, self._where(event.at), lost_reason=reason))
        elif not event.by_bench and last is not None and last.what == "write" and event.at - last.at <= _ANSWER_WITHIN:
            self._acts[-1] = replace(last, lost_after=event.at - last.at, lost_reason=reason)
        else:
            self._acts.append(Act("disconnect", event.at, self._where(event.at), lost_reason=reason))

    def _end_of_scan(self, at: float) -> None:
        """Whether the unit was not heard in a long one, after it had ended the link itself."""
        last = self._acts[-1] if self._acts else None
        if self._scans_from is None or last is None or last.lost_after is None:
            return
        if at - max(self._scans_from, self._heard_at) >= _SILENCE:
            self._acts.append(Act("silence", at, self._where(at)))

    def _heard(self, event: Heard) -> None:
        self._heard_at = event.at
        if event.level is not None:
            self._levels.append(float(event.level))
        last = self._acts[-1] if self._acts else None
        if last is not None and last.what in ("disconnect", "restart") and last.away is None:
            self._acts[-1] = replace(last, away=event.at if last.what == "restart" else event.at - last.at)

    def _pdu(self, link: _Link, pdu: Pdu) -> None:
        code, body = pdu.octets[0], pdu.octets[1:]
        if pdu.sent and code in (_READ, _BLOB, _WRITE, _COMMAND) and len(body) >= 2:
            (handle,) = struct.unpack_from("<H", body)
            link.asked, link.asked_at = (code, handle, body[2:]), pdu.at
            if code == _COMMAND:
                self._written(link, pdu.at, "")
        elif not pdu.sent and code in _SENT and len(body) >= 2:
            self._came(struct.unpack_from("<H", body)[0], pdu.at, body[2:])
        elif not pdu.sent and link.asked is not None:
            self._answered(link, pdu.at, code, body)

    def _answered(self, link: _Link, at: float, code: int, body: bytes) -> None:
        assert link.asked is not None
        asked, handle, _ = link.asked
        place = self._place_of(handle)
        error = att_error_name(body[3]) if code == _ERROR and len(body) >= 4 else ""
        if asked == _WRITE and code in (_WRITTEN, _ERROR):
            self._written(link, at, error)
        elif asked == _READ and code in (_READ_BACK, _ERROR) and place is not None:
            self._acts.append(Act("read", at, self._where(at), place, None if error else body, error))
        elif asked == _BLOB and code == _BLOB_BACK and self._acts and self._acts[-1].place == place:
            last = self._acts[-1]
            self._acts[-1] = replace(last, data=(last.data or b"") + body)
        link.asked = None

    def _written(self, link: _Link, at: float, error: str) -> None:
        assert link.asked is not None
        _, handle, data = link.asked
        place = self._place_of(handle)
        if place is not None and not place.is_descriptor:
            self._latest_write = len(self._acts)
            self._acts.append(Act("write", link.asked_at, self._where(at), place, data, error))
        link.asked = None

    def _came(self, handle: int, at: float, data: bytes) -> None:
        place = self._place_of(handle)
        if place is not None:
            latest = self._latest_write
            near = latest if latest is not None and at - self._acts[latest].at <= _ANSWER_WITHIN else None
            self._sent.setdefault(place, []).append((at, data, near))

    # --- at the end

    def told(self) -> CaptureTold:
        self._end_of_scan(self._last)
        streams: list[StreamSeen] = []
        for place, sent in self._sent.items():
            if all(near is not None for *_, near in sent):
                self._answer(place, sent)
            else:
                streams += (self._stream(place, run) for run in _runs(sent))
        return CaptureTold(Story(self._source, tuple(self._acts)), streams, self._levels)

    def _answer(self, place: Place, sent: list[_Sent]) -> None:
        for at, data, near in sent:
            assert near is not None
            act = self._acts[near]
            self._acts[near] = replace(act, answers=(*act.answers, Answer(place, data, at - act.at)))

    def _stream(self, place: Place, sent: list[_Sent]) -> StreamSeen:
        times, values = [at for at, *_ in sent], [data for _, data, _ in sent]
        gaps = [*_gaps(times)]
        group = Group.of(gaps) if gaps else None
        return StreamSeen(
            place, self._unit, times[-1] - times[0], len(sent), None, group, values, times=times, source=self._source
        )


def _runs(sent: list[_Sent]) -> list[list[_Sent]]:
    """Cut where it was not sent for so long that nobody was subscribed."""
    gaps = sorted(_gaps([at for at, *_ in sent]))
    longest = _PAUSE * gaps[len(gaps) // 2] if gaps else 0.0
    runs = [sent[:1]]
    for earlier, later in pairwise(sent):
        if later[0] - earlier[0] > longest:
            runs.append([])
        runs[-1].append(later)
    return runs


def _gaps(times: list[float]) -> Iterator[float]:
    return (later - earlier for earlier, later in pairwise(times))
