"""Bad requests over one link, one after the other: what came back of each, and whether it was right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.radio.losses import LOSSES
from benchrig.radio.raw import Frame
from benchrig.requests.request import HARMLESS, Send, Storm, Together
from benchrig.requests.right import LONGEST_VALUE, Right, right_of, shown, too_long_prepared, wrong_answer, wrong_on
from benchrig.values.channels import ATT

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.raw import Raw
    from benchrig.requests.table import Target

# Answers to the harmless request
_PONG, _NO_SUCH = 0x05, bytes.fromhex("01 04")
_PREPARED, _EXECUTE = b"\x17", bytes.fromhex("18 01")
# Seconds for an answer that may be left out: to a request that overlaps another one, or is none for many devices.
_LEFT_OPEN = 1.0
# Reasons with which a device ends a link deliberately
ENDED_BY_DEVICE = {LOSSES[code] for code in (0x05, 0x13, 0x14, 0x15)}
NO_ANSWER = "no answer"


@dataclass
class Outcome:
    """Of one request. `wrong` are wrong answers in sentences, `symptom` says how the device does not live any more, '' while it
    does; `took` are the seconds to the slowest answer. After `unsettled` an answer may still come: the link is of no use."""

    wrong: list[str] = field(default_factory=list)
    symptom: str = ""
    answered: bool = False
    took: float = 0.0
    unsettled: bool = False


class Sender:
    """On a link that nothing else speaks on, as long as it is open. `within` is the time for an answer."""

    def __init__(self, link: Link, raw: Raw, target: Target, within: float, now: Callable[[], float]) -> None:
        self._link, self._raw, self._target = link, raw, target
        self._within, self._now = within, now
        # what was sent on channels other than ATT: their answers come at any time
        self._sent: dict[int, list[bytes]] = {}
        # octets of the value that parts of a prepared write add up to
        self._prepared = 0

    async def carry_out(self, request: Send | Together | Storm) -> Outcome:
        outcome = Outcome()
        if isinstance(request, Together):
            await self._together(request.parts, outcome)
        elif isinstance(request, Storm):
            await self._storm(request, outcome)
        elif request.channel == ATT:
            await self._request(request.octets, outcome)
        else:
            await self._elsewhere(request, outcome)
        return outcome

    # --- kinds of requests

    async def _request(self, octets: bytes, outcome: Outcome) -> None:
        right, started = self._right_of(octets), self._now()
        self._put(octets)
        if right == Right(silence=True, opcode=right.opcode):
            await self._ping(right, outcome)
            return
        answer = await self._hear(min(_LEFT_OPEN, self._within) if right.silence else self._within, outcome)
        if answer is not None:
            self._judge(right, answer, started, outcome)
            self._count_prepared(octets, answer)
        elif not self._is_gone(outcome):
            outcome.unsettled = not right.silence
            await self._ping(right, outcome)
            if not (outcome.symptom or right.silence):
                outcome.wrong.append(f"expected {right.in_words}, found {NO_ANSWER}")

    def _right_of(self, octets: bytes) -> Right:
        """A value that is too long as a whole may be refused with its last part (Core Vol 3 Part F 3.2.9, 3.4.6.3)."""
        right = right_of(octets, self._target)
        return too_long_prepared(right) if octets == _EXECUTE and self._prepared > LONGEST_VALUE else right

    def _count_prepared(self, octets: bytes, answer: bytes) -> None:
        if answer[:1] == _PREPARED:
            self._prepared = max(self._prepared, int.from_bytes(octets[3:5], "little") + len(octets) - 5)
        elif octets[:1] == _EXECUTE[:1]:
            self._prepared = 0

    async def _elsewhere(self, send: Send, outcome: Outcome) -> None:
        """On a channel whose answers, if there are any, are heard beside those of ATT."""
        self._sent.setdefault(send.channel, []).append(send.octets)
        self._raw.send(Frame(send.channel, send.octets))
        await self._ping(Right(silence=True), outcome, may_end=True)

    async def _together(self, parts: tuple[Send, ...], outcome: Outcome) -> None:
        """All at once: the specification leaves it open what becomes of those after the first (Core Vol 3 Part F 3.3.2)."""
        started, rights = self._now(), [right_of(part.octets, self._target) for part in parts]
        for part in parts:
            self._put(part.octets)
        for count in range(len(rights)):
            answer = await self._hear(min(_LEFT_OPEN, self._within) if count else self._within, outcome)
            if answer is None:
                outcome.unsettled = True
                break
            outcome.answered, outcome.took = True, max(outcome.took, self._now() - started)
            if all(wrong_answer(right, answer) for right in rights):
                outcome.wrong.append(wrong_answer(rights[0], answer))
        if not self._is_gone(outcome, may_end=True):
            await self._ping(Right(), outcome, may_end=True)
            if not outcome.answered and not outcome.symptom:
                outcome.wrong.append(f"expected an answer to the first one, found {NO_ANSWER}")

    async def _storm(self, storm: Storm, outcome: Outcome) -> None:
        found = self._target.attributes.get(storm.handle)
        on = (found.updates if found else 1) & -(found.updates if found else 1)
        for number in range(storm.times + storm.times % 2):
            bits = 0 if number % 2 else on
            await self._request(_configure(storm.handle, bits), outcome)
            if outcome.symptom or outcome.unsettled:
                return

    # --- what comes back

    def _put(self, octets: bytes) -> None:
        self._raw.send(Frame(ATT, octets))

    def _judge(self, right: Right, answer: bytes, started: float, outcome: Outcome) -> None:
        outcome.answered, outcome.took = True, max(outcome.took, self._now() - started)
        if wrong := wrong_answer(right, answer):
            outcome.wrong.append(wrong)

    async def _ping(self, right: Right, outcome: Outcome, *, may_end: bool = False) -> None:
        """See that the device still answers; what comes before that is an answer to what was sent, which is held against
        what is `right`."""
        started = self._now()
        self._put(HARMLESS.octets)
        while (answer := await self._hear(self._within, outcome)) is not None:
            if answer[:1] == bytes((_PONG,)) or answer[:2] == _NO_SUCH:
                outcome.took = max(outcome.took, self._now() - started)
                return
            if not outcome.unsettled and (wrong := wrong_answer(right, answer)):
                outcome.wrong.append(wrong)
        if not self._is_gone(outcome, may_end=may_end):
            outcome.unsettled = True
            outcome.symptom = f"{NO_ANSWER} within {self._within:g} s"

    async def _hear(self, within: float, outcome: Outcome) -> bytes | None:
        """The next ATT PDU that may be an answer."""
        while (frame := await self._raw.hear(within)) is not None:
            if frame.channel == ATT:
                return frame.octets
            sent = self._sent.get(frame.channel, [])
            wrong = [wrong_on(frame.channel, octets, frame.octets) for octets in sent]
            if all(wrong):
                unasked = f"found a frame on channel 0x{frame.channel:04X} unasked: {shown(frame.octets)}"
                outcome.wrong.append(wrong[-1] if wrong else unasked)
        return None

    def _is_gone(self, outcome: Outcome, *, may_end: bool = False) -> bool:
        """Whether the link is gone; that is a symptom unless the device `may_end` it for such a request, and has."""
        link = self._link
        if link.is_up:
            return False
        outcome.unsettled = True
        if not (may_end and link.lost_reason in ENDED_BY_DEVICE):
            outcome.symptom = f"the link was lost ({link.lost_reason})"
        return True


def _configure(handle: int, bits: int) -> bytes:
    return bytes((0x12,)) + handle.to_bytes(2, "little") + bits.to_bytes(2, "little")
