"""The story that a record tells: what its steps asked, measured and found. The plan of the run says which attribute answers.

A record has no times of connection events: an answer that took as long as usual took the unit no time.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.advertising_spec import default_payload
from benchrig.record.events import DeviceSeen, Reading
from benchrig.record.model import Execution, Record
from benchrig.record.secrets import octets
from benchrig.replay.around import names_of
from benchrig.replay.from_capture import WANTS_SECURITY
from benchrig.replay.from_record_advertising import advertised
from benchrig.replay.pairing_on_record import tell_encryption, tell_pairing
from benchrig.replay.pieces import pieces_of
from benchrig.replay.story import Asked, Characteristic, Kind, Story, Unasked
from benchrig.replay.streams import times_of, values_of
from benchrig.replay.written_table import MISSING, WrittenTable
from benchrig.source.shape import LATE
from benchrig.steps.listen import RESERVED
from benchrig.values.base import Format
from benchrig.values.catalogue import att_error_code

_REFUSED = re.compile(r"answered with ATT error 0x([0-9A-F]{2})")
_SILENT = re.compile(r"the device did not answer within")
_LOST = re.compile(r"the link was lost(?: in the pairing)?(?: \((.*?)\))?")
_UNTAKEN = re.compile(r"did not accept the connection")
_NOT_CONNECTABLE = re.compile(r"does not take connections")
_UNHEARD = re.compile(r"was not heard in|no connection within the time allowed")
_UNHEARD_FOR = re.compile(r"was not heard in ([\d.]+) s")
_MALFORMED = re.compile(r"(?:^|; )(.*?), notification \d+: .*?\(bytes ([0-9A-F ]+)\)")
_CRASH = ("connection timeout", "connection failed")
# On a link of 15 ms: a request and its answer, half an interval, the supervision time-out of the twin's link.
ROUND_TRIP, HALF, TIMEOUT = 0.030, 0.0075, 0.72
_CANNOT = frozenset({"access", "robust", "privacy"})


def story_of_record(record: Record, plan: Plan | None, key: str = "") -> Story:
    return _Telling(record, plan, key).story


class _Telling:
    def __init__(self, record: Record, plan: Plan | None, key: str) -> None:
        seen = record.devices.get(key)
        self.story = Story(seen.name if seen and seen.name else "unit", seen.address if seen else "")
        self._record, self._seen, self._plan = record, seen, plan
        self._steps: Mapping[str, StepPlan] = {} if plan is None else {step.id: step for step in plan.steps}
        self._table = WrittenTable(names_of(record, plan, key), self.story.guesses)
        self._table.take(record, plan, key)
        self._lost: Unasked | None = None  # the last end of a link, as long as the unit is not back
        self._lost_at = 0.0
        self._tell(seen, key)

    def _tell(self, seen: DeviceSeen | None, key: str) -> None:
        if seen is not None and seen.address:
            self.story.address_type = seen.address_type or "random"
            self.story.advertised = advertised(self._record, seen, key, default_payload(self.story.name))
            self.story.guesses.append("what a unit advertises beside what steps have read, and how often")
        for each in self._record.nodes:
            self._walk(each, key)
        self.story.services = self._table.services
        self.story.guesses.append("times to 50 ms; values and attributes that no step has read; handles")

    def _walk(self, each: Execution, key: str) -> None:
        """What is in a step comes before what it finds itself."""
        if each.planned.kind == "listen" and each.opened is not None and each.planned.device == key:
            self._listens(each)
        for child in each.children:
            self._walk(child, key)
        if each.opened is not None and each.planned.device == key:
            self._step(each)

    def _step(self, each: Execution) -> None:
        kind = each.planned.kind
        if kind in _CANNOT:
            self.story.lacks.append(f"what a step {kind} did one by one")
        tell: Callable[[Execution], None] | None = getattr(self, f"_{kind}", None)
        message = _message(each)
        for failed in each.retries:
            self._attempt(each, failed.message, failed.at)
        if tell is not None and not MISSING.search(message):
            tell(each)
        self._attempt(each, message, each.ended.at if each.ended else self._record_end)

    @property
    def _record_end(self) -> float:
        return self._record.ended.at if self._record.ended else 0.0

    def _key(self, each: Execution, name: str) -> Any:
        """A key of the step in the plan; None where it is not known."""
        planned = self._steps.get(each.planned.id)
        value = getattr(planned.step or planned.outline, name, None) if planned else None
        return None if value is LATE else value

    def _ask(self, each: Execution, kind: Kind, key: str, at: float, **more: Any) -> Asked:
        asked = Asked(kind, key, at, answered=True, **more)
        self.story.asked.append(asked)
        return asked

    # --- how a step ended

    def _attempt(self, each: Execution, message: str, at: float) -> None:
        """What the end of an attempt tells of the link and of the unit on the air."""
        if _UNTAKEN.search(message):
            self.story.refused += 1
        elif _NOT_CONNECTABLE.search(message) and self.story.advertised is not None:
            self.story.advertised.connectable = False
        elif each.planned.kind == "connect" and _UNHEARD.search(message) and self._lost is None:
            self.story.silent_after = each.opened.at if each.opened else at
            self.story.guesses.append("when it stopped advertising")
        elif _UNHEARD.search(message) and self._lost is not None:
            self._lost.back = None
        found = _values(each)
        after, lost = found.get("lost_after"), _LOST.search(message)
        if isinstance(after, (int, float)):
            begins = self.story.asked[-1].at - HALF if self.story.asked else at
            self._loses(begins + after, str(found.get("lost_reason") or ""))
        elif lost and each.planned.kind != "pair" and not each.children and "not lost" not in message:
            if each.planned.kind in ("read", "write", "exchange") and self.story.asked:
                self.story.asked[-1].answered = False
            self._loses(at, lost[1] or "")
        if each.planned.kind == "reboot" and "advertises_after" in found:
            self._returns(found)

    def _loses(self, at: float, reason: str) -> None:
        """The link was lost at that time. Without a reason a unit that was gone for as long as a link takes to time out has
        vanished."""
        if not self.story.asked:
            return
        latest = self.story.asked[-1]
        vanished = reason in _CRASH or (not reason and at - latest.at >= TIMEOUT * 0.9)
        if not reason:
            self.story.guesses.append("how links ended: with a time-out, or by the unit")
        after = at - latest.at - (TIMEOUT if vanished else HALF)
        self._lost = Unasked("vanishes" if vanished else "ends", max(0.0, after), back=0.0, back_known=False)
        self._lost_at = at
        if latest.then:
            self._lost.after = max(self._lost.after, max(one.after for one in latest.then) + 2 * ROUND_TRIP)
        elif latest.kind == "write" and after <= ROUND_TRIP:
            latest.answered = False
        latest.then.append(self._lost)

    def _returns(self, found: Mapping[str, Any]) -> None:
        back = found.get("advertises_after")
        if self._lost is not None and isinstance(back, (int, float)):
            gone = TIMEOUT if self._lost.deed == "vanishes" else 0.0
            self._lost.back, self._lost.back_known = back + gone, True
        self._lost = None

    # --- each kind of step

    def _connect(self, each: Execution) -> None:
        failed = (_NOT_CONNECTABLE, _UNTAKEN, _UNHEARD)
        if each.ended is None or each.ended.verdict == "error" or any(one.search(_message(each)) for one in failed):
            return
        found = _values(each)
        self._returns(found)
        if isinstance(found.get("payload"), int):
            self.story.mtu = found["payload"] + 3
        began = each.ended.at - float(found.get("elapsed") or each.ended.elapsed)
        self._ask(each, "connect", "", began)

    def _scan(self, each: Execution) -> None:
        if _values(each).get("heard") is False and self._lost is not None:
            self._lost.back = None

    def _disconnect(self, each: Execution) -> None:
        back = _values(each).get("advertises_after")
        if isinstance(back, (int, float)):
            self.story.again_after = max(self.story.again_after, float(back) - HALF)

    def _reboot(self, each: Execution) -> None:
        """The link that the steps in it made the unit end; the return is told by the message where it did not come."""
        found, message = _values(each), _message(each)
        if each.ended is None or "was not lost" in message or "lost_after" in found:
            return
        unheard = _UNHEARD_FOR.search(message)
        inside = max((child.ended.at for child in each.children if child.ended), default=each.ended.at)
        if unheard or each.ended.verdict == "pass":
            self._loses(each.ended.at - float(unheard[1]) if unheard else inside, str(found.get("lost_reason") or ""))

    def _read(self, each: Execution) -> None:
        one, found = self._table.find(each.planned.subject), _readings(each)
        if one is None or each.opened is None or _is_about_the_table(each):
            return
        value = _bytes(found)
        if "/" in each.planned.subject and one.others and one.others[-1].value is None and value is not None:
            one.others[-1].value = value
        asked = self._ask(each, "read", one.key, each.opened.at + ROUND_TRIP / 2, value=value)
        self._answered(asked, each)

    def _answered(self, asked: Asked, each: Execution) -> None:
        message, found = _message(each), _values(each)
        refused = _REFUSED.search(message)
        named = found.get("att_error")
        if refused:
            asked.error = int(refused[1], 16)
        elif isinstance(named, str) and named != "none":
            asked.error = _code(named)
        asked.answered = not _SILENT.search(message)
        elapsed = found.get("elapsed", each.ended.elapsed if each.ended and asked.kind == "read" else 0.0)
        if isinstance(elapsed, (int, float)) and elapsed > 1.5 * ROUND_TRIP:
            asked.after = elapsed - ROUND_TRIP

    def _write(self, each: Execution) -> None:
        one, found = self._table.find(each.planned.subject), _readings(each)
        if one is None or each.opened is None or _is_about_the_table(each):
            return
        if self._key(each, "response") is False:
            self._table.add(one, "write without response")
        at, sent = next(
            ((note.at, data) for note in each.notes if (data := octets(note.sent)) is not None), (each.opened.at, b"")
        )
        asked = self._ask(each, "write", one.key, at + ROUND_TRIP / 2, written=sent)
        self._answered(asked, each)
        if (back := _bytes(found)) is not None:
            self._table.add(one, "read")
            self._ask(each, "read", one.key, asked.at + ROUND_TRIP, value=back)
        elif self._key(each, "read_back") is True and each.ended and each.ended.verdict == "pass":
            self._table.add(one, "read")  # what came is secret

    def _exchange(self, each: Execution) -> None:
        reply = self._reply(each)
        if reply is not None and each.opened is not None:
            self._table.add(reply, "notify")
            if not any(note.sent is not None for note in each.notes) and self._refuses_to_send(each, reply):
                return
            self._ask(each, "subscribe", reply.key, each.opened.at)
        found = _values(each)
        self._write(each)
        asked = self.story.asked[-1] if self.story.asked else None
        value = _bytes(_readings(each))
        if asked is None or asked.kind == "subscribe" or reply is None:
            return
        if asked.kind == "read":  # the value is what came, nothing was read back
            self.story.asked.pop()
            asked = self.story.asked[-1]
        asked.after = 0.0
        if value is not None:
            after = float(found.get("response_time") or ROUND_TRIP) - ROUND_TRIP
            asked.then += [Unasked("sends", max(0.0, after), reply.key, piece) for piece in self._pieces(each, value)]

    def _pieces(self, each: Execution, value: bytes) -> list[bytes]:
        answers, begins = self._key(each, "answers"), self._key(each, "starts_with")
        if answers is None:
            return [value]
        self.story.guesses.append("how an answer in several notifications was cut")
        count = _values(each).get("count")
        return pieces_of(value, answers, count if isinstance(count, int) else None, bytes.fromhex(begins or ""))

    def _reply(self, each: Execution) -> Any:
        planned, name = self._steps.get(each.planned.id), self._key(each, "reply")
        if name is None or planned is None:
            return self._table.find(each.planned.subject)
        return self._called(planned, str(name))

    def _called(self, planned: StepPlan, name: str) -> Characteristic | None:
        """What the plan calls so."""
        path = planned.names.meaning(name).address.path
        return self._table.find("/".join(f"{part.uuid}[{part.index or 0}]" for part in path))

    def _notify(self, each: Execution) -> None:
        one, found = self._table.find(each.planned.subject), _readings(each)
        if one is None or each.opened is None or _is_about_the_table(each):
            return
        if self._refuses_to_send(each, one):
            return
        asked = self._ask(each, "subscribe", one.key, each.opened.at + ROUND_TRIP / 2)
        self._streams(each, asked, found, self._format(each), self._key(each, "counter"))

    def _streams(
        self, each: Execution, asked: Asked, found: Mapping[str, Reading], form: Format | None, counter: str | None
    ) -> None:
        """What it sent after this subscription."""
        counted = found.get("count")
        samples = max((r.samples.count for r in found.values() if r.samples), default=0)
        count = int(counted.value) if counted is not None and isinstance(counted.value, int) else samples
        if not count:
            return
        values = values_of(found, count, form, counter)
        malformed = _MALFORMED.search(_message(each))
        if malformed and (malformed[1] == asked.key or not each.children):
            values = [bytes.fromhex(malformed[2])] * count
        times = _times(found, each, count, asked.at)
        asked.then += [Unasked("sends", at, asked.key, value) for at, value in zip(times, values, strict=True)]
        self.story.guesses.append("the times and values of a stream: they come to the statistics that the record has")

    def _listens(self, each: Execution) -> None:
        """Several streams at once, each with its own name before its readings."""
        planned, streams = self._steps.get(each.planned.id), self._key(each, "listen")
        if planned is None or not isinstance(streams, dict):
            return
        for name, heard in streams.items():
            one = None if name in RESERVED or f"'{name}'" in _message(each) else self._called(planned, name)
            if one is None or each.opened is None:
                continue
            self._table.add(one, "notify")
            asked = self._ask(each, "subscribe", one.key, each.opened.at + ROUND_TRIP / 2)
            found = {r.name.removeprefix(f"{name}."): r for r in each.readings if r.name.startswith(f"{name}.")}
            form = heard.format.built if heard and heard.format else planned.names.meaning(name).format
            self._streams(each, asked, found, form, heard.counter if heard else None)

    def _refuses_to_send(self, each: Execution, one: Characteristic) -> bool:
        """Whether the unit did not let it subscribe."""
        if "has no client characteristic configuration" in _message(each):
            one.has_cccd = False
            return True
        refused = _REFUSED.search(_message(each))
        if refused is None:
            return False
        if (code := int(refused[1], 16)) in WANTS_SECURITY:
            one.subscribe_needs = WANTS_SECURITY[code]
        else:
            self.story.lacks.append(f"the refusal of a subscription to {one.key} (ATT error 0x{code:02X})")
        return True

    def _format(self, each: Execution) -> Format | None:
        planned, name, spec = self._steps.get(each.planned.id), self._key(each, "notify"), self._key(each, "format")
        if spec is not None:
            own: Format = spec.built
            return own
        return planned.names.meaning(str(name)).format if planned and name else None

    def _pair(self, each: Execution) -> None:
        tell_pairing(self.story, each, _values(each), _message(each))

    def _encrypt(self, each: Execution) -> None:
        tell_encryption(self.story, _message(each))

    def _unpair(self, each: Execution) -> None:
        if _values(each).get("pairs_again") is False:
            self.story.faults["refuses_after_deletion"] = True


def _times(found: Mapping[str, Reading], each: Execution, count: int, asked_at: float) -> list[float]:
    times = [max(0.0, at - HALF) for at in times_of(found, count, asked_at)]
    if any(times):
        return times
    window = found["count"].window if "count" in found else None
    if window is None or count < 1:
        return times
    step = (window.end - window.begin) / (count + 1)
    return [step * (index + 1) for index in range(count)]


def _is_about_the_table(each: Execution) -> bool:
    """Whether it asked nothing, since the table did not have what it needs."""
    return "does not offer" in _message(each) or "is ambiguous" in _message(each)


def _message(each: Execution) -> str:
    return each.ended.message if each.ended else ""


def _readings(each: Execution) -> dict[str, Reading]:
    return {reading.name: reading for reading in each.readings}


def _values(each: Execution) -> dict[str, Any]:
    return {reading.name: reading.value for reading in each.readings}


def _bytes(found: Mapping[str, Reading]) -> bytes | None:
    """The value: each field of a structure repeats its bytes."""
    for name, reading in found.items():
        if (
            name.partition(".")[0] in ("value", "raw")
            and (data := octets(reading.raw)) is not None
            and reading.samples is None
        ):
            return data
    return None


def _code(name: str) -> int:
    return att_error_code(name)
