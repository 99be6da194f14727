"""What was watched, as lines of text."""

from __future__ import annotations

from typing import Any

from benchrig.desk.series import Arrival, Channel, Series
from benchrig.desk.watching import Event, LinkLoss, Watch
from benchrig.source.problem import counted
from benchrig.text.escape import hex_text, plain, with_unit
from benchrig.values.jsonable import tidy
from benchrig.values.quantity import number_text


def event_line(event: Event) -> str:
    """One event: when, what, and the bytes."""
    if isinstance(event, Arrival):
        return f"{event.at:10.3f} s  {arrival_text(event)}"
    if isinstance(event, LinkLoss):
        return f"{event.at:10.3f} s  link lost: {plain(event.reason)}"
    what = "link back" if event.back else "no link"
    return f"{event.end:10.3f} s  {what}: nothing could be heard from {event.start:.3f} s to {event.end:.3f} s"


def arrival_text(event: Arrival) -> str:
    raw = hex_text(event.raw.hex().upper())
    if event.wrong:
        return f"{plain(event.attribute)}: {plain(event.wrong)}  [{raw}]"
    if event.channel.form is None:
        return f"{plain(event.attribute)}: {raw}"
    return f"{plain(event.attribute)}: {_value_text(event.channel, event.value)}  [{raw}]"


def _value_text(channel: Channel, value: Any) -> str:
    if not isinstance(value, dict):
        return with_unit(value, channel.form.unit if channel.form else "")
    return ", ".join(f"{plain(name)} {with_unit(item, channel.units.get(name, ''))}" for name, item in value.items())


def summary(watch: Watch) -> list[str]:
    """What came of each attribute in all."""
    lines = []
    for each in watch.watched:
        many = f"{counted(each.count, 'value')} in {watch.seconds:.1f} s"
        connected = " while connected" if watch.holes else ""
        gap = "" if each.longest is None else f", longest gap{connected} {each.longest:.3f} s"
        bad = f", {each.malformed} malformed" if each.malformed else ""
        lines.append(f"{plain(each.name)}: {many}{gap}{bad}{_lost(each)}")
        lines += [f"  {_extent(series)}" for series in each.series.values() if series.is_numeric]
    return [*lines, *_holes_text(watch)]


def _lost(channel: Channel) -> str:
    """What the counter shows in all."""
    if (tally := channel.tally) is None:
        return ""
    lost = f"lost unknown ({channel.uncounted})" if tally.lost is None else f"{tally.lost} lost"
    return f", {lost}, {tally.duplicated or 0} duplicated"


def _holes_text(watch: Watch) -> list[str]:
    """How often the link was lost, and for how long nothing could be heard; nothing where it never was."""
    holes = watch.holes
    if not holes:
        return []
    lengths = [hole.end - hole.start for hole in holes]
    longest = f", at the longest {max(lengths):.3f} s" if len(holes) > 1 else ""
    gone = "" if holes[-1].back else "; the device did not come back"
    return [f"link lost {often(len(holes))}, {sum(lengths):.3f} s without data{longest}{gone}"]


def often(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _extent(series: Series) -> str:
    moments, unit = series.moments, f" {series.unit}" if series.unit else ""
    field = f"{plain(series.name)}: " if series.name else ""
    mean = number_text(tidy(moments.mean))
    return f"{field}{number_text(moments.minimum)} to {number_text(moments.maximum)}{unit}, mean {mean}{unit}"
