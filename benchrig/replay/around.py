"""What the folder of a run tells beside the radio: names of attributes, steps, lines of the console, bonds that it had to
forget, the passkey of its plan."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from benchrig.plan.model import Plan
from benchrig.radio.security import SHOWING
from benchrig.radio.virtual.makers import literal
from benchrig.record.model import Execution, Record
from benchrig.record.secrets import MASK
from benchrig.replay.story import Asked, Story, Unasked
from benchrig.source.shape import Misfit
from benchrig.steps.console import SENDS
from benchrig.steps.pair import Pair
from benchrig.values.catalogue import normal_uuid
from benchrig.values.passkey import SIX_DIGITS

_LINE = re.compile(r" *(-?\d+\.\d+) ([ >]) (.*)")
_INDEX = re.compile(r"\[\d+\]$")
# Two clocks of one event: the capture's and the console's.
_SAME = 1e-3
SOME_PASSKEYS = ("000000", "111111", "222222", "333333")


@dataclass(frozen=True)
class Line:
    """Of a console: printed by the unit, or sent to it."""

    at: float
    text: str
    sent: bool = False


def names_of(record: Record, plan: Plan | None, key: str = "") -> dict[str, str]:
    """What the plan calls an attribute, by UUID; without a plan as far as the names of its steps say so."""
    names: dict[str, str] = {}
    if plan is not None and key in plan.devices:
        aliases = plan.devices[key].names.aliases
        return {str(spec.uuid): name for name, spec in reversed([*aliases.items()]) if spec.uuid is not None}
    for each in record.executions:
        planned = each.planned
        last = _INDEX.sub("", planned.subject.rpartition("/")[2])
        called = planned.name.removeprefix(f"{planned.kind} ")
        if not last or planned.device != key or called == planned.name or "/" in called or called.endswith(")"):
            continue
        try:
            names.setdefault(normal_uuid(last), called)
        except Misfit:
            continue
    return names


def label_steps(story: Story, record: Record) -> None:
    """Say in which step each request was made; the innermost one."""
    spans = [(each.opened.at, each) for each in record.executions if each.opened and not each.children]
    begins = [begin for begin, _ in spans]
    for asked in story.asked:
        at = bisect_right(begins, asked.at + _SAME) - 1
        if at >= 0:
            step = spans[at][1]
            asked.step = f"{step.where.label} ({step.planned.name})"


def drop_switched_off(story: Story, record: Record) -> None:
    """A link that ended since the bench took the power away is no deed of the unit."""
    spans = [
        (each.opened.at - _SAME, each.ended.at)
        for each in record.executions
        if each.planned.kind == "power" and each.opened and each.ended
    ]
    for asked in story.asked:
        asked.then = [
            one
            for one in asked.then
            if one.deed != "vanishes" or not any(begin <= asked.at + one.after <= end for begin, end in spans)
        ]


def lines_of(folder: Path | None, record: Record, name: str = "console") -> list[Line]:
    """Those of console.log; without one those that steps have found."""
    path = None if folder is None else folder / f"{name}.log"
    if path is not None and path.is_file():
        found = map(_LINE.fullmatch, path.read_text(encoding="utf-8", errors="replace").splitlines())
        return [Line(float(each[1]), each[3], each[2] == ">") for each in found if each]
    return sorted(_found_lines(record), key=lambda line: line.at)


def _found_lines(record: Record) -> Iterator[Line]:
    for each in record.executions:
        found = {reading.name: reading.value for reading in each.readings}
        for note in each.notes if each.planned.kind == "console" else ():
            if note.text.startswith(SENDS):
                yield Line(note.at, note.text.removeprefix(SENDS), sent=True)
        if each.planned.kind == "console" and isinstance(found.get("line"), str) and each.opened:
            yield Line(each.opened.at + float(found.get("reached_after") or 0.0), found["line"])


def tell_lines(story: Story, lines: Iterable[Line]) -> None:
    """Lines that the unit printed come after the request before them; those that answer a line are entries of `console`."""
    answering: Line | None = None
    for line in lines:
        if line.sent:
            answering = line
            story.console.setdefault(line.text, [])
            continue
        text = literal(line.text)
        if MASK in text:
            _shows(story, text)
            continue
        asked = _before(story, line.at)
        if answering is not None and (asked is None or asked.at < answering.at):
            story.console[answering.text].append(text)
        elif asked is None:
            story.started.append(Unasked("prints", max(0.0, line.at), text=text))
        else:
            asked.then.append(Unasked("prints", max(0.0, line.at - asked.at), text=text))


def _shows(story: Story, text: str) -> None:
    """A line with a number of a pairing in it, which no record has: the twin shows its own."""
    if story.security.get("capability") in SHOWING:
        story.displays[text.replace(MASK, "{number}")] = None
    elif (said := "lines of the console with secret values in them") not in story.lacks:
        story.lacks.append(said)


def _before(story: Story, at: float) -> Asked | None:
    """The latest request from which on a twin counts."""
    counting = [one for one in story.asked if one.counts and one.at <= at + _SAME]
    return max(counting, key=lambda one: one.at, default=None)


def tell_bonds(story: Story, record: Record) -> None:
    """What made the unit forget a bond, and whether it did."""
    for each in record.executions:
        if each.planned.kind != "unpair" or each.opened is None:
            continue
        old_key = next((reading for reading in each.readings if reading.name == "old_key"), None)
        end = old_key.at if old_key else each.ended.at if each.ended else each.opened.at
        inside = [child for child in each.children if child.planned.part == "steps"]
        end = max((child.ended.at for child in inside if child.ended), default=end)
        writes = [one for one in story.asked if one.kind == "write" and each.opened.at <= one.at <= end + _SAME]
        story.deletes_bonds |= {one.key for one in writes[-1:]}
        if old_key is not None and old_key.value == "accepted":
            story.faults["keeps_bonds"] = True
        if old_key is not None and old_key.value == "no key":
            story.faults.pop("forgets_bonds", None)


def tell_passkey(story: Story, record: Record, plan: Plan | None) -> None:
    """The passkey that the plan types is that of a unit that has taken it."""
    if story.security.get("capability", "none") == "none":
        return
    literal, others = _passkeys(record, plan)
    taken = [passkey for passkey, was_taken in literal if was_taken]
    if taken:
        story.security["passkey"] = taken[-1]
    elif literal and not others:
        refused = {passkey for passkey, _ in literal}
        story.security["passkey"] = next(other for other in SOME_PASSKEYS if other not in refused)
        story.guesses.append("the passkey of the unit is another one than the plan has")
    elif not story.displays:
        story.lacks.append("the passkey of the unit: a record has no secret values; the twin draws one")


def _passkeys(record: Record, plan: Plan | None) -> tuple[list[tuple[str, bool]], bool]:
    """Those that are written in the plan, and whether a pairing with each went well; whether there are others."""
    literal: list[tuple[str, bool]] = []
    others = plan is None
    steps = {} if plan is None else {step.id: step.step or step.outline for step in plan.steps}
    for each in record.executions:
        step = steps.get(each.planned.id)
        if not isinstance(step, Pair) or each.opened is None:
            continue
        if isinstance(step.passkey, str) and SIX_DIGITS.fullmatch(step.passkey):
            literal.append((str(step.passkey), _paired(each)))
        else:
            others = others or step.passkey is not None
    return literal, others


def _paired(step: Execution) -> bool:
    found = {reading.name: reading.value for reading in step.readings}
    passed = step.ended is not None and step.ended.verdict == "pass"
    failed = found.get("failure", "none") != "none"
    return found.get("method") == "passkey" and not failed and (passed or found.get("bonded") is not None)
