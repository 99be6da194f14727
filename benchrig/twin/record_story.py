"""The record of a run -> its story. The plan of the run says what the record does not: who answers, and in which pieces."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from benchrig.desk.paths import Place
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.record.model import Execution, Record
from benchrig.record.secrets import octets
from benchrig.source.shape import LATE
from benchrig.steps.answers import Answers
from benchrig.steps.console import SENDS
from benchrig.twin.story import Act, Answer, Story
from benchrig.values.catalogue import att_error_name

_LINK_LOST = re.compile(r"the link was lost(?: \((.*?)\))?")
_REFUSED = re.compile(r"the device answered with ATT error 0x([0-9A-F]{2})")
# From the name that a record or a plan has for an attribute to its place.
Find = Callable[[str], Place | None]


def story_of(record: Record, plan: Plan | None, find: Find, source: str, device: str = "") -> Story:
    """`device` is the key of the unit, where the plan has several."""
    told = _Telling(source, find, _steps(record, plan))
    acts = [act for each in record.executions if each.planned.device in ("", device) for act in told.acts(each)]
    return Story(source, tuple(sorted(acts, key=lambda act: act.at)))


def _steps(record: Record, plan: Plan | None) -> dict[str, StepPlan]:
    """The steps of the plan by their numbers, where they are still those of the record."""
    if plan is None:
        return {}
    found = {each.id: each for each in _all(plan.steps)}
    return {
        each.planned.id: found[each.planned.id]
        for each in record.executions
        if each.planned.id in found and found[each.planned.id].kind.verb == each.planned.kind
    }


def _all(steps: Any) -> Iterator[StepPlan]:
    for each in steps:
        yield each
        yield from _all(each.children)


class _Telling:
    def __init__(self, source: str, find: Find, steps: Mapping[str, StepPlan]) -> None:
        self._source, self._find, self._steps = source, find, steps

    def acts(self, step: Execution) -> Iterator[Act]:
        tell = getattr(self, f"_{step.planned.kind.replace(' ', '_')}", None)
        if tell is not None and step.ended is not None and step.ended.verdict != "skip":
            yield from tell(step)

    def _where(self, step: Execution) -> str:
        return f"{self._source}, step {step.where.label}"

    def _key(self, step: Execution, key: str) -> Any:
        """A key of the step in the plan; None where it is not known."""
        planned = self._steps.get(step.planned.id)
        model = planned and (planned.step or planned.outline)
        value = getattr(model, key, None)
        return None if value is LATE else value

    def _place(self, step: Execution) -> Place | None:
        subject = (step.opened.subject if step.opened else "") or step.planned.subject
        return self._find(subject) if subject else None

    def _read(self, step: Execution) -> Iterator[Act]:
        found = _readings(step)
        data, refused = _bytes(step), _refused(step, found)
        waited = found.get("reached_after")
        at = _at(step)
        since = at - waited if isinstance(waited, (int, float)) and found.get("tries", 1) != 1 else None
        place = self._place(step)
        if place is not None and (data is not None or refused != "none"):
            error = "" if refused == "none" else str(refused)
            yield Act("read", at, self._where(step), place, None if error else data, error, since=since)

    def _write(self, step: Execution) -> Iterator[Act]:
        place, sent, found = self._place(step), _sent(step), _readings(step)
        if place is None or sent is None:
            return
        at, data = sent
        where, refused = self._where(step), _refused(step, found)
        yield Act("write", at, where, place, data, "" if refused == "none" else refused, **_lost(found, step, at))
        back = _bytes(step)
        if back is not None:
            yield Act("read", _at(step), where, place, back)

    def _exchange(self, step: Execution) -> Iterator[Act]:
        place, sent, found = self._place(step), _sent(step), _readings(step)
        if place is None or sent is None:
            return
        at, data = sent
        refused = _refused(step, found)
        answered = () if refused != "none" else tuple(self._answers(step, place, found))
        error = "" if refused == "none" else refused
        yield Act("write", at, self._where(step), place, data, error, answers=answered, **_lost(found, step, at))

    def _answers(self, step: Execution, place: Place, found: Mapping[str, Any]) -> Iterator[Answer]:
        reply, several, data = self._key(step, "reply"), self._key(step, "answers"), _bytes(step)
        answering = self._find(str(reply)) if reply else place
        if data is None or answering is None:
            return
        after = float(found.get("response_time", 0.0))
        if not isinstance(several, Answers):
            yield Answer(answering, data, after)
            return
        last = several.last.starts_with if several.last is not None else None
        yield Answer(answering, data, after, several.skip or 0, bytes.fromhex(last or ""))

    def _connect(self, step: Execution) -> Iterator[Act]:
        yield Act("connect", _at(step), self._where(step))

    def _disconnect(self, step: Execution) -> Iterator[Act]:
        away = _readings(step).get("advertises_after")
        yield Act("disconnect", _at(step) - float(away or 0.0), self._where(step), away=away)

    def _reboot(self, step: Execution) -> Iterator[Act]:
        found = _readings(step)
        lost = next((each.at for each in step.readings if each.name == "lost_reason"), None)
        seen = next(
            (each for each in step.readings if each.name == "advertises_after" and each.value is not None), None
        )
        if lost is None and seen is not None:
            lost = seen.at - float(seen.value)
        reason, back = str(found.get("lost_reason", "")), None if seen is None else seen.at
        yield Act("restart", _at(step) if lost is None else lost, self._where(step), lost_reason=reason, away=back)

    def _power(self, step: Execution) -> Iterator[Act]:
        yield Act("power", _at(step), self._where(step))

    def _scan(self, step: Execution) -> Iterator[Act]:
        if _readings(step).get("heard") is False:
            yield Act("silence", _at(step), self._where(step))

    def _console(self, step: Execution) -> Iterator[Act]:
        found, sent = _readings(step), next((n.text for n in step.notes if n.text.startswith(SENDS)), None)
        line = found.get("line")
        if isinstance(line, str):
            said = None if sent is None else sent.removeprefix(SENDS)
            yield Act(
                "line",
                self._began(step) + float(found.get("reached_after") or 0.0),
                self._where(step),
                line=line,
                sent=said,
            )

    def _began(self, step: Execution) -> float:
        return step.opened.at if step.opened else _at(step)

    def _pair(self, step: Execution) -> Iterator[Act]:
        asked = {key: self._key(step, key) for key in ("pair", "pairing", "key_size", "passkey")}
        yield Act("pair", _at(step), self._where(step), asked=asked, found=_readings(step))

    def _unpair(self, step: Execution) -> Iterator[Act]:
        yield Act("pair", _at(step), self._where(step), asked={"unpair": True}, found=_readings(step))


def _readings(step: Execution) -> dict[str, Any]:
    return {each.name: each.value for each in step.readings}


def _bytes(step: Execution) -> bytes | None:
    """The value; each field of a structure repeats the bytes."""
    for each in step.readings:
        if (
            each.name.partition(".")[0] in ("value", "raw")
            and (data := octets(each.raw)) is not None
            and each.samples is None
        ):
            return data
    return None


def _sent(step: Execution) -> tuple[float, bytes] | None:
    return next(((note.at, sent) for note in step.notes if (sent := octets(note.sent)) is not None), None)


def _refused(step: Execution, found: Mapping[str, Any]) -> str:
    """The name of the ATT error that answered; 'none' for none. One that nobody expected is in the message alone."""
    named = str(found.get("att_error", "none"))
    message = step.ended.message if step.ended is not None else ""
    told = None if message.startswith("read back") else _REFUSED.search(message)
    return att_error_name(int(told[1], 16)) if told is not None and named == "none" else named


def _lost(found: Mapping[str, Any], step: Execution, sent_at: float) -> dict[str, Any]:
    """How the link ended in the step: as it was meant to, or in place of an answer."""
    after = found.get("lost_after")
    if after is not None:
        return {"lost_after": float(after), "lost_reason": str(found.get("lost_reason", ""))}
    lost = _LINK_LOST.search(step.ended.message) if step.ended is not None and step.ended.verdict != "pass" else None
    if lost is None or step.ended is None:
        return {}
    return {"lost_after": max(0.0, step.ended.at - sent_at), "lost_reason": lost[1] or "", "unanswered": True}


def _at(step: Execution) -> float:
    """When the last of it was known."""
    return max([each.at for each in step.readings], default=step.ended.at if step.ended else 0.0)
