"""What the folder of a run tells beside the radio: names of attributes, steps, lines of the console, bonds that it had to
forget, the passkey of its plan."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from benchrig.plan.model import Plan
from benchrig.record.model import Execution, Record
from benchrig.replay.story import Asked, Story, Unasked
from benchrig.source.shape import Misfit
from benchrig.steps.pair import Pair
from benchrig.values.catalogue import normal_uuid
from benchrig.values.passkey import SIX_DIGITS

_LINE = re.compile(r" *(-?\d+\.\d+) ([ >]) (.*)")
_INDEX = re.compile(r"\[\d+\]$")
# Two clocks of one event: the capture's and the console's.
_SAME = 1e-3
SOME_PASSKEYS = ("000000", "111111")


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
        asked = _before(story, line.at)
        if answering is not None and (asked is None or asked.at < answering.at):
            story.console[answering.text].append(line.text)
        elif asked is None:
            story.started.append(Unasked("prints", max(0.0, line.at), text=line.text))
        else:
            asked.then.append(Unasked("prints", max(0.0, line.at - asked.at), text=line.text))


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
    passkey, taken = _passkey(record, plan)
    if passkey is None:
        story.lacks.append("the passkey of the unit: a record has no secret values; the twin draws one")
    elif taken:
        story.security["passkey"] = passkey
    else:
        story.security["passkey"] = next(other for other in SOME_PASSKEYS if other != passkey)
        story.guesses.append("the passkey of the unit is another one than the plan has")


def _passkey(record: Record, plan: Plan | None) -> tuple[str | None, bool]:
    """That of the plan, and whether a pairing with it went well."""
    if plan is None:
        return None, False
    steps = {step.id: step.step for step in plan.steps}
    for each in record.executions:
        step = steps.get(each.planned.id)
        if not isinstance(step, Pair) or not isinstance(step.passkey, str) or not SIX_DIGITS.fullmatch(step.passkey):
            continue
        return str(step.passkey), _paired(each)
    return None, False


def _paired(step: Execution) -> bool:
    found = {reading.name: reading.value for reading in step.readings}
    passed = step.ended is not None and step.ended.verdict == "pass"
    return found.get("method") == "passkey" and (passed or found.get("bonded") is not None)
