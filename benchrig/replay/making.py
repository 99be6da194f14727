"""The twin of a run from its folder: record, capture, console log and plan, as far as they are there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from benchrig.captures.btsnoop import read_capture
from benchrig.captures.hci import AirEvent, Connected, Connecting, Heard, Pdu, Scanning, Traffic, traffic_of
from benchrig.errors import UsageError
from benchrig.plan.model import Plan
from benchrig.radio.virtual.device_file import devices_of
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.record.events import DeviceSeen
from benchrig.record.model import Record
from benchrig.record.secrets import without_hidden
from benchrig.replay.around import (
    drop_switched_off,
    label_steps,
    lines_of,
    names_of,
    tell_bonds,
    tell_lines,
    tell_passkey,
)
from benchrig.replay.checking import failure_of
from benchrig.replay.composing import UNNAMED, compose, together
from benchrig.replay.from_capture import Telling
from benchrig.replay.from_record import story_of_record
from benchrig.replay.story import Story
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text


@dataclass(frozen=True)
class Twin:
    """The text of the device file; `guesses` and `lacks` are told in its head too."""

    text: str
    guesses: tuple[str, ...]
    lacks: tuple[str, ...]

    def devices(self) -> list[Simulated]:
        problems = Problems()
        node = read_text(self.text, "twin.yaml", problems)
        devices = [] if node is None else devices_of(node, problems)
        problems.raise_if_any()
        return devices


def twin_of(
    record: Record, *, folder: Path | None = None, capture: Path | None = None, plan: Plan | None = None
) -> Twin:
    """Of each device of the run. UsageError for a capture that is none, or of another unit."""
    told = without_hidden(record)
    keys = [*record.devices] or [*record.run.devices] or [""]
    stories = [_whole_story(told, folder, capture, plan, key) for key in keys]
    made = together([compose(story) for story in stories])
    if told is not record and capture is None:
        stories[0].lacks.append("values that are secret: the record hides them")
    guesses = dict.fromkeys(said for story in stories for said in story.guesses)
    lacks = dict.fromkeys(said for story in stories for said in story.lacks)
    return Twin(made.text(_head(record, capture, guesses, lacks)), tuple(guesses), tuple(lacks))


def _whole_story(record: Record, folder: Path | None, capture: Path | None, plan: Plan | None, key: str) -> Story:
    story = _story(record, capture, plan, key)
    label_steps(story, record)
    drop_switched_off(story, record)
    tell_lines(story, lines_of(folder, record, key or "console"))
    tell_bonds(story, record)
    tell_passkey(story, record, plan)
    return story


def _story(record: Record, capture: Path | None, plan: Plan | None, key: str) -> Story:
    seen = record.devices.get(key) or DeviceSeen(0.0)
    if capture is None:
        return story_of_record(record, plan, key)
    read = read_capture(capture)
    traffic = traffic_of(read.packets)
    address = _address(seen.address, traffic, capture)
    events = _on_the_clock(traffic, record)
    story = Telling(address, seen.name or UNNAMED, names_of(record, plan, key), events).tell()
    if read.cut_off is not None:
        story.lacks.append(f"all after offset {read.cut_off} of the capture: it is cut off there")
    if damaged := read.shortened + traffic.malformed:
        story.lacks.append(f"{damaged} packets of the capture that are shortened or malformed")
    return story


def _address(wanted: str, traffic: Traffic, capture: Path) -> str:
    """Of the unit: that of the record, or of the only one that was connected to where a record has none."""
    heard = {each.address for each in traffic.events if isinstance(each, (Heard, Connected))}
    if wanted in heard or not wanted:
        return wanted
    linked = {each.address for each in traffic.events if isinstance(each, Connected) and not each.status}
    if len(linked) == 1:
        return linked.pop()
    advice = "give the capture of this run, or leave --capture out"
    raise UsageError(f"the unit of the record, {wanted}, is not in the capture {capture}", advice=advice)


def _on_the_clock(traffic: Traffic, record: Record) -> list[AirEvent]:
    """The events on the clock of the run: the first step that scans or connects began with the first that the bench did."""
    did = next((each.at for each in traffic.events if isinstance(each, (Scanning, Connecting))), None)
    steps = [each.opened.at for each in record.executions if each.opened and each.planned.kind in ("scan", "connect")]
    if did is None or not steps:
        return traffic.events
    shift = steps[0] - did
    return [_shifted(each, shift) for each in traffic.events] if abs(shift) > 1e-6 else traffic.events


def _shifted(event: AirEvent, by: float) -> AirEvent:
    if isinstance(event, Pdu):
        return replace(event, at=event.at + by, arrived=event.arrived + by)
    return replace(event, at=event.at + by)


def _head(record: Record, capture: Path | None, guesses: Iterable[str], lacks: Iterable[str]) -> Iterator[str]:
    yield f"A twin of the unit in one run: {record.run.plan}, {record.run.started}, run {record.run.run_id}."
    yield f"The run: {failure_of(record).text}"
    if capture is None:
        yield "Exact: what steps have read, written and found, as the record has it."
    else:
        yield "Exact, to one connection interval: requests, answers and what the unit sent, as the capture has them."
        yield "It holds what went over the radio: treat it as secret where that is."
    yield from _listed("Guesses", guesses)
    yield from _listed("Not known", lacks)


def _listed(title: str, sentences: Iterable[str]) -> Iterator[str]:
    if listed := [*sentences]:
        yield f"{title}:"
        yield from (f"- {sentence}" for sentence in listed)
