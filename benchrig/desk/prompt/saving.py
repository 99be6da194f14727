"""Deeds -> the text of a test plan that does the same again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.desk.prompt.consequences import losses
from benchrig.desk.prompt.deeds import (
    MOST_DEEDS,
    Connected,
    ConnectionLost,
    Deed,
    ReadDone,
    WatchDone,
    WriteDone,
)
from benchrig.desk.prompt.steps import every_step, steps_of
from benchrig.errors import UsageError
from benchrig.plan.wording import name_pattern, selection_data
from benchrig.plan.writing import PlanText, StepText
from benchrig.radio.scan import Selection
from benchrig.source.problem import counted
from benchrig.steps.attribute import AttributeSpec, Names
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.desk.prompt.session import Session
    from benchrig.radio.scan import Sighting


@dataclass(frozen=True)
class Story:
    """All that a plan is made from: the deeds with one device, when, what its attributes are called, how it was
    selected, and the caution of the plan that was at hand."""

    deeds: Sequence[Deed]
    unit: Sighting
    when: datetime
    names: Names = field(default_factory=Names)
    selection: Selection | None = None
    caution: str = ""


@dataclass(frozen=True)
class Saved:
    """How many steps the plan has, and what of the deeds it cannot keep."""

    steps: int
    remarks: list[str]


def save(session: Session, path: Path, when: datetime, *, force: bool = False) -> Saved:
    """Write the plan of what was done with the last device. UsageError when there is nothing to save, or a file to
    keep."""
    unit = session.connection.unit
    if unit is None:
        raise UsageError("nothing was done yet", advice="connect, read, write or watch something first")
    deeds, left_out = _with_the_last(session.deeds)
    selection = next((deed.selection for deed in reversed(deeds) if isinstance(deed, Connected)), None)
    story = Story(deeds, unit, when, session.desk.names, selection, session.caution)
    steps = steps_of(story.deeds)
    text = plan_text(story, steps)
    try:
        with path.open("w" if force else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"{path} already exists", advice=f"save! {path} writes over it") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror or error}", advice="give another file") from error
    remarks = _not_kept(story.deeds)
    if left_out:
        remarks.append(f"{counted(left_out, 'verb')} with other devices left out: a plan has one")
    if dropped := session.deeds.dropped:
        remarks.append(f"the last {counted(dropped, 'verb')} left out: a session keeps the first {MOST_DEEDS}")
    return Saved(len([step for step in every_step(steps) if step.verb]), remarks)


def _not_kept(deeds: Sequence[Deed]) -> list[str]:
    """What is no step, and the writes that went wrong: a lost link is none."""
    reads = [deed for deed in deeds if isinstance(deed, ReadDone) and deed.remark]
    ended = losses(deeds)
    writes = [deed for n, deed in enumerate(deeds) if isinstance(deed, WriteDone) and deed.remark and n not in ended]
    remarks = [f"write {deed.subject.name}: {deed.remark}" for deed in writes]
    remarks += [f"read {deed.subject.name} is left out: {deed.remark}" for deed in reads]
    lost = [n for n, deed in enumerate(deeds) if isinstance(deed, ConnectionLost) and n not in ended.values()]
    if not lost:
        return remarks
    times = "once" if len(lost) == 1 else f"{len(lost)} times"
    again = any(isinstance(deed, Connected) for deed in deeds[lost[0] :])
    there = "the plan disconnects and connects there instead" if again else "the plan has only a comment there"
    return [*remarks, f"the link was lost {times}: {there}; if it must be lost, limit lost_after in the step before"]


def _with_the_last(deeds: Sequence[Deed]) -> tuple[list[Deed], int]:
    """What was done with the last device, and how much with others; a plan has one."""
    connections = [deed for deed in deeds if isinstance(deed, Connected)]
    last, here, others = (connections[-1] if connections else None), list[Deed](), 0
    mine = True
    for deed in deeds:
        if isinstance(deed, Connected) and last is not None:
            mine = deed.is_to_the_same(last)
        if mine:
            here.append(deed)
        else:
            others += isinstance(deed, (ReadDone, WriteDone, WatchDone))
    return here, others


def plan_text(story: Story, steps: Sequence[StepText] | None = None) -> str:
    """The plan as strict YAML."""
    who = plain(story.unit.name or story.unit.address)
    head = (
        f"From a session with {who} on {story.when:%Y-%m-%d %H:%M %z}.",
        "Every limit is what was seen then; see whether it is what the product promises.",
    )
    steps = steps_of(story.deeds) if steps is None else steps
    return PlanText(f"Session with {who}", _selection(story), _used(story), steps, _caution(story), head).text


def _caution(story: Story) -> str:
    named = dict.fromkeys(plain(deed.subject.name) for deed in story.deeds if isinstance(deed, WriteDone))
    return f"{story.caution} This plan writes to the device: {', '.join(named)}.".strip() if named else ""


def _selection(story: Story) -> Selection:
    """How the device was selected, as far as that says which; with its name, else its address, where it does not."""
    chosen = story.selection or Selection()
    if selection_data(chosen).keys() - {"rssi_min", "nearest"}:
        return chosen
    name = story.unit.name
    return replace(chosen, name=name_pattern(name)) if name else replace(chosen, address=story.unit.address)


def _used(story: Story) -> dict[str, AttributeSpec]:
    """The own names that the deeds use."""
    subjects = [getattr(deed, key, None) for deed in story.deeds for key in ("subject", "reply")]
    parts = {part.partition("[")[0].strip() for each in subjects if each for part in each.name.split("/")}
    whole = {each.name for each in subjects if each}
    return {name: spec for name, spec in story.names.aliases.items() if name in parts | whole}
