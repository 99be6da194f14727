"""Deeds -> steps of a plan, each with a word on what was left out or guessed."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchrig.desk.prompt.consequences import listens, losses, reached, returns, seconds_to, waits_for
from benchrig.desk.prompt.deeds import (
    Connected,
    ConnectionLost,
    Deed,
    Disconnected,
    EncryptDone,
    ExchangeDone,
    PairDone,
    ReadDone,
    Subject,
    UnpairDone,
    Waited,
    WatchDone,
    WriteDone,
)
from benchrig.desk.prompt.limits import proposals, value_of, why_not
from benchrig.desk.prompt.security_steps import ends_link, security_steps
from benchrig.desk.typed_answers import answers_data
from benchrig.plan.wording import spec_data
from benchrig.plan.writing import StepText
from benchrig.source.writing import Bare, decimal_text
from benchrig.values.base import Format

# A notification within so many seconds of a write may be its answer.
ANSWERS_WITHIN = 2.0
# A notify step listens so long, in seconds, unless the first notification needed more.
LEAST_LISTEN, MOST_LISTEN = 1.0, 30.0
# Of the time until the link was lost a notify step listens for this share.
CUT_SHARE = 0.7
# From so many notifications on their rate says something.
ENOUGH_FOR_RATE = 10
# In percent.
RATE_TOLERANCE = 25
CONNECT_ATTEMPTS = 3
# The link may be lost later than it was by this share, and by so many seconds more.
LOSS_SHARE, LOSS_MORE = 1.5, 1.0
# So a state may come later than it did; what is read again is read so many seconds later at least.
UNTIL_SHARE, UNTIL_MORE, LEAST_EVERY = 2.0, 5.0, 0.1
_HEX = {"as": "hex"}


def steps_of(deeds: Sequence[Deed]) -> list[StepText]:
    """The steps, with different names."""
    steps = [StepText("scan"), _connect()]
    told = _Consequences.of(deeds)
    steps += [step for number, deed in enumerate(deeds) for step in _Teller(deeds, number, told).steps(deed)]
    titles = Counter[str]()
    for step in every_step(steps):
        titles[step.title] += 1
        if step.verb and titles[step.title] > 1:
            step.keys = {"name": f"{step.title} ({titles[step.title]})", **step.keys}
    return steps


def every_step(steps: Iterable[StepText]) -> Iterator[StepText]:
    """Those within others too."""
    for step in steps:
        yield step
        for inner in step.parts.values():
            yield from every_step(inner)


@dataclass(frozen=True)
class _Consequences:
    """What has an effect on other steps than its own: `losses` by the write, `returns` by the loss, `rows` of reads by the
    last one; `told` are the deeds that are part of another one's step."""

    losses: Mapping[int, int]
    returns: Mapping[int, int]
    rows: Mapping[int, list[int]]
    told: frozenset[int]
    listens: Mapping[int, tuple[list[int], list[int]]]

    @classmethod
    def of(cls, deeds: Sequence[Deed]) -> _Consequences:
        lost, back, rows = losses(deeds), returns(deeds), waits_for(deeds)
        within = {number for last, row in rows.items() for number in row if number != last}
        told = frozenset({*lost.values(), *back.values(), *within})
        plain = _Teller(deeds, 0, cls(lost, back, rows, told, {}))
        streams = [n for n, deed in enumerate(deeds) if isinstance(deed, WatchDone) and plain.is_stream(deed)]
        together = listens(deeds, streams, lost)
        inner = {
            number for first, (watches, done) in together.items() for number in (*watches, *done) if number != first
        }
        return cls(lost, back, rows, told | inner, together)


def _connect() -> StepText:
    """A connection request gets no answer, and on the air one in a few dozens is lost: a session tries again as well."""
    return StepText("connect", keys={"attempts": Bare(str(CONNECT_ATTEMPTS))})


@dataclass(frozen=True)
class _Teller:
    """Tells one deed, with an eye on the others."""

    deeds: Sequence[Deed]
    number: int
    consequences: _Consequences

    def steps(self, deed: Deed) -> Iterator[StepText]:
        if self.number in self.consequences.told:
            return
        if isinstance(deed, WriteDone) and self.number in self.consequences.losses:
            yield from self._lets_go(deed)
        elif self.number in self.consequences.listens:
            yield self._listen(*self.consequences.listens[self.number])
        else:
            yield from self._told(deed)

    def _told(self, deed: Deed) -> Iterator[StepText]:
        match deed:
            case Connected():
                yield from self._connected()
            case Disconnected():
                if not ends_link(self.deeds[: self.number]):
                    yield StepText("disconnect")
            case ConnectionLost():
                yield self._lost(deed)
            case ReadDone():
                yield self._read(deed)
            case ExchangeDone():
                yield _exchange(deed)
            case WriteDone():
                yield from self._write(deed)
            case WatchDone():
                yield from self._watched(deed)
            case PairDone() | EncryptDone() | UnpairDone():
                yield from security_steps(deed, self.deeds[: self.number])
            case Waited():
                if not any(watched.started <= deed.at for watched in self._watches() if _lasts(watched, deed.at)):
                    yield StepText("wait", _time(deed.seconds))

    def _connected(self) -> Iterator[StepText]:
        """The first one every plan has."""
        if any(isinstance(deed, Connected) for deed in self.deeds[: self.number]):
            yield _connect()

    def _lets_go(self, deed: WriteDone) -> Iterator[StepText]:
        """A write that ended the link; with the connection after it a reboot."""
        loss = self.consequences.losses[self.number]
        seconds = seconds_to(deed, self.deeds[loss])
        assert seconds is not None
        limit = {"max": _time(math.ceil(seconds * LOSS_SHARE + LOSS_MORE))}
        done = replace(deed, remark="", read_back=False)
        steps = [_exchange(done)] if isinstance(done, ExchangeDone) else [*self._write(done)]
        if loss not in self.consequences.returns:
            steps[-1].hold("lost_after", limit)
            yield from steps
            return
        reboot = StepText("reboot", parts={"steps": steps})
        reboot.hold("lost_after", limit)
        yield reboot

    def _lost(self, deed: ConnectionLost) -> StepText:
        """Whether the unit has to end the link, nobody can know here: the plan ends it itself where there was another one."""
        remark = f"The link was lost here: {deed.reason}."
        later = next((each for each in self.deeds[self.number :] if isinstance(each, (Connected, Disconnected))), None)
        if not isinstance(later, Connected):
            return StepText(remarks=[remark])
        advice = (
            "This plan disconnects here. If the unit must end the link, limit lost_after in the step before instead."
        )
        return StepText("disconnect", remarks=[remark, advice])

    def _read(self, deed: ReadDone) -> StepText:
        step = StepText("read", deed.subject.name)
        if deed.remark:
            return StepText(remarks=[f"{step.title}: left out: {deed.remark}"])
        if deed.data is None:
            step.hold("att_error", {"equals": deed.refused})
            return step
        if self.number in self.consequences.rows:
            self._wait_for(step, deed, self.consequences.rows[self.number])
        else:
            _expect(step, deed.subject, self._alike(deed))
        return step

    def _wait_for(self, step: StepText, last: ReadDone, row: Sequence[int]) -> None:
        """Read until the state is there that the last of these reads found."""
        states = reached(self.deeds, row)
        reads = [deed for deed in (self.deeds[number] for number in row) if isinstance(deed, ReadDone)]
        took = (last.at or 0.0) - (reads[0].at or 0.0)
        step.keys["until"] = {name: {"equals": state} for name, state in states.items()}
        step.keys["every"] = _time(max(LEAST_EVERY, took / (len(reads) - 1)))
        step.keys["within"] = _time(math.ceil(UNTIL_SHARE * took + UNTIL_MORE))
        _expect(step, last.subject, [last.data or b""])
        for name in states:
            step.expect.pop(name, None)

    def _alike(self, deed: ReadDone) -> list[bytes]:
        """What is to be expected here: what the attribute was since the last write to anything, this read included;
        where it changes without a write, all that it was between two writes to itself."""
        had = [*self._had(deed.subject)]
        mine = next(epoch for epoch, other, _ in had if other is deed)
        together: dict[tuple[int, int], set[bytes]] = {}
        for epoch, _, data in had:
            together.setdefault(epoch, set()).add(data)
        changes = any(len(each) > 1 for each in together.values())
        return [data for epoch, _, data in had if (epoch[0] == mine[0] if changes else epoch == mine)]

    def _had(self, subject: Subject) -> Iterator[tuple[tuple[int, int], Deed, bytes]]:
        """All that the attribute was, read or heard, each with how often was written before: to it, and to anything."""
        own = writes = 0
        for other in self.deeds:
            if isinstance(other, WriteDone):
                writes += 1
                own += other.subject.name == subject.name
            elif isinstance(other, ReadDone) and other.data is not None and _same(other.subject, subject):
                yield (own, writes), other, other.data
            elif isinstance(other, WatchDone) and _same(other.subject, subject):
                for at, data in other.samples:
                    yield self._written_before(at, subject), other, data

    def _written_before(self, at: float, subject: Subject) -> tuple[int, int]:
        writes = [deed for deed in self.deeds if isinstance(deed, WriteDone) and deed.at <= at]
        return sum(deed.subject.name == subject.name for deed in writes), len(writes)

    def _write(self, deed: WriteDone) -> Iterator[StepText]:
        answer = None if deed.refused else self._answer(deed)
        step = StepText("write" if answer is None else "exchange", deed.subject.name)
        _put_value(step, deed)
        if not deed.response:
            step.keys["response"] = False
        if deed.refused:
            step.hold("att_error", {"equals": deed.refused})
        if answer is not None:
            watched, data = answer
            if watched.subject.name != deed.subject.name:
                step.keys["reply"] = watched.subject.name
            _expect(step, watched.subject, [data])
        elif deed.read_back:
            step.keys["read_back"] = True
        _remark_on(step, deed)
        yield step
        if answer is not None and deed.read_back:
            back = StepText("read", deed.subject.name)
            _expect(back, replace(deed.subject, settable=True), [deed.data])
            yield back

    def _watches(self) -> list[WatchDone]:
        return [deed for deed in self.deeds if isinstance(deed, WatchDone)]

    def _answer(self, deed: WriteDone) -> tuple[WatchDone, bytes] | None:
        """The first notification that came of this write, where all of them came of writes."""
        for watched in self._watches():
            if not _lasts(watched, deed.at) or not self._only_answers(watched):
                continue
            for at, data in watched.samples:
                if self._cause(at) == deed.at:
                    return watched, data
        return None

    def _cause(self, at: float) -> float | None:
        """When the write was that a notification can be the answer of."""
        writes = [deed.at for deed in self.deeds if isinstance(deed, WriteDone) and deed.at <= at]
        return writes[-1] if writes and at - writes[-1] <= ANSWERS_WITHIN else None

    def _only_answers(self, watched: WatchDone) -> bool:
        return bool(watched.samples) and all(self._cause(at) is not None for at, _ in watched.samples)

    def is_stream(self, watched: WatchDone) -> bool:
        return bool(watched.came.count) and not self._only_answers(watched)

    def _listen(self, watches: Sequence[int], inner: Sequence[int]) -> StepText:
        """Streams, and what was done meanwhile; as long as each has to be listened to at least."""
        waited = sum(deed.seconds for deed in (self.deeds[n] for n in inner) if isinstance(deed, Waited))
        step, least = StepText("listen"), LEAST_LISTEN
        for deed in (self.deeds[n] for n in watches):
            assert isinstance(deed, WatchDone)
            heard = StepText("notify", deed.subject.name)
            least = max(least, _least_listen(deed))
            self._hold_stream(heard, deed, max(waited, least))
            step.keys[deed.subject.name] = heard.keys
            step.remarks += heard.remarks
            for reading in dict.fromkeys((*heard.expect, *heard.reasons)):
                step.hold(f"{deed.subject.name}.{reading}", heard.expect.get(reading), heard.reasons.get(reading, ""))
        steps = [each for n in inner for each in self._meanwhile(n)]
        if waited < least:
            steps.append(StepText("wait", _time(least - waited)))
        return StepText("listen", step.keys, {}, step.remarks, step.expect, step.reasons, {"steps": steps})

    def _meanwhile(self, number: int) -> Iterator[StepText]:
        deed, rows = self.deeds[number], self.consequences.rows
        if isinstance(deed, Waited):
            if not any(number in row for row in rows.values()):
                yield StepText("wait", _time(deed.seconds))
        elif not any(number in row and number != last for last, row in rows.items()):
            yield from _Teller(self.deeds, number, self.consequences)._told(deed)

    def _watched(self, deed: WatchDone) -> Iterator[StepText]:
        if self._only_answers(deed):
            return
        ended = deed.started if deed.ended is None else deed.ended
        ended = max(ended, deed.came.last)
        if not deed.came.count:
            yield StepText(
                remarks=[f"notify {deed.subject.name}: left out: nothing arrived in {ended - deed.started:.3g} s"]
            )
            return
        seconds = _listen(deed, ended)
        step = StepText("notify", deed.subject.name, {"for": _time(seconds)})
        self._hold_stream(step, deed, seconds)
        yield step

    def _hold_stream(self, step: StepText, deed: WatchDone, seconds: float) -> None:
        """What it is to bring in so many seconds."""
        _count(step, deed)
        step.hold("count", {"min": 1})
        rate = deed.came.rate
        if rate is not None and deed.came.count >= ENOUGH_FOR_RATE:
            step.hold("count", {"min": max(1, math.floor(seconds * rate * (1 - RATE_TOLERANCE / 100)) - 1)})
            hertz = f"{decimal_text(float(f'{rate:.3g}'))} Hz"
            step.hold("rate", {"nominal": hertz, "tolerance": f"{RATE_TOLERANCE} %"})
        _expect(step, deed.subject, [data for _, data in deed.samples], stream=True)


def _count(step: StepText, deed: WatchDone) -> None:
    """The field that counts, and which way of sending was asked for."""
    if deed.mode is not None:
        step.keys["mode"] = deed.mode
    if deed.counter is None or deed.tally is None:
        return
    step.keys["counter"] = deed.counter
    for reading, seen in (("lost", deed.tally.lost), ("duplicated", deed.tally.duplicated)):
        step.hold(reading, {"equals": 0} if seen == 0 else None, "" if seen == 0 else f"{seen} in the session")


def _exchange(deed: ExchangeDone) -> StepText:
    step = StepText("exchange", deed.subject.name)
    _put_value(step, deed)
    if not deed.response:
        step.keys["response"] = False
    if deed.reply.name != deed.subject.name:
        step.keys["reply"] = deed.reply.name
    if deed.starts_with:
        step.keys["starts_with"] = deed.starts_with.hex(" ").upper()
    if deed.answers is not None:
        step.keys["answers"] = answers_data(deed.answers)
    if deed.refused:
        step.hold("att_error", {"equals": deed.refused})
    elif deed.answer is not None:
        _expect(step, deed.reply, [deed.answer])
    _remark_on(step, deed)
    return step


def _remark_on(step: StepText, deed: WriteDone) -> None:
    if deed.remark:
        step.remarks.append(f"it went wrong in the session, and fails where it does again: {deed.remark}")


def _same(one: Subject, other: Subject) -> bool:
    """Whether it is one attribute, read in one way."""
    return (one.name, one.spec) == (other.name, other.spec)


def _lasts(watched: WatchDone, at: float) -> bool:
    return watched.started <= at and (watched.ended is None or at <= watched.ended)


def _listen(deed: WatchDone, ended: float) -> float:
    """Seconds to listen: as in the session, within bounds, and in any case until something must have come."""
    least = _least_listen(deed)
    # as long as the link held would be until the moment in which it was lost
    lasted = (ended - deed.started) * (CUT_SHARE if deed.is_cut else 1)
    return max(least, min(lasted, MOST_LISTEN))


def _least_listen(deed: WatchDone) -> float:
    """Seconds until something must have come."""
    first = deed.came.first - deed.started if deed.came.count else 0.0
    gap = 1 / deed.came.rate if deed.came.rate else 0.0
    return max(LEAST_LISTEN, first + 0.5, 2.5 * gap)


def _time(seconds: float) -> str:
    """To the tenth of a second where it is one."""
    return f"{decimal_text(math.ceil(seconds * 10) / 10 if seconds >= 1 else round(seconds, 3))} s"


def _expect(step: StepText, subject: Subject, samples: list[bytes], *, stream: bool = False) -> None:
    """Hold the step's readings to what they were."""
    form: Format | None = subject.form
    if subject.spec is not None:
        step.keys["format"] = spec_data(subject.spec)
    if wrong := why_not(form, samples):
        step.remarks.append(f"the value did not fit its format: {wrong}")
        step.keys["format"], form = _HEX, None
    for reading, proposal in proposals(subject, form, samples, stream=stream).items():
        is_plain = proposal.limit is not None and "equals" in proposal.limit
        step.hold(reading, proposal.limit, "" if is_plain else proposal.sentence)


def _put_value(step: StepText, deed: WriteDone) -> None:
    """The value where the format gives just these bytes for it, else the bytes."""
    form, spec = deed.subject.form, deed.subject.spec
    # the format of an exchange is that of its answer
    value = None if form is None or (spec and step.verb == "exchange") else value_of(form, deed.data)
    if value is None:
        step.keys["raw"] = deed.data.hex(" ").upper()
        return
    step.keys["value"] = value
    if spec is not None:
        step.keys["format"] = spec_data(spec)
