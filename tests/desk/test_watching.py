"""Watching what a device sends, through lost links, into files."""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from benchrig.desk.desk import Desk
from benchrig.desk.series import Arrival, Channel, Tally, fields_of
from benchrig.desk.watch_file import WatchFile, check_file
from benchrig.desk.watching import Event, Hole, LinkLoss, Watch, event_as_data
from benchrig.errors import AttributeMissing, LinkLost, StationError, UsageError
from benchrig.plan.brought import bring
from benchrig.steps.attribute import Names
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.spec import Exact
from tests.desk.kit import at_desk
from tests.desk.prompt.kit import box
from tests.run.kit import DEVICES, PLANS, device_text

LOGGER = DEVICES / "logger.yaml"
BEGAN = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
LOG = "6b1d0004-9a53-4c86-8a3e-2f0f6c1d7e40"
SENDING = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [notify], value: {sequence: [20 °C, 22 °C]}, notify: {period: 250 ms}}
      - {characteristic: humidity, properties: [indicate], raw: 'FF', notify: {period: 500 ms}}
      - {characteristic: pressure, properties: [read], value: 101325 Pa}
"""
LOSING = "faults: {disconnect_after: 2 s}"


def named_log() -> Names:
    from benchrig.plan.loader import load_plan

    return load_plan(PLANS / "end_of_line.yaml").names


def watched(
    *names: str,
    device: str | Path = LOGGER,
    during: Callable[[Watch, Event], Any] | None = None,
    desk_options: dict[str, Any] | None = None,
    said: list[str] | None = None,
    **options: Any,
) -> tuple[Watch, list[Event]]:
    """A watch that is over, and its events."""

    async def work(desk: Desk) -> tuple[Watch, list[Event]]:
        watch = Watch(desk, names, began=BEGAN, **options)
        events: list[Event] = []
        async with contextlib.aclosing(watch.events()) as coming:
            async for event in coming:
                events.append(event)
                if during is not None:
                    during(watch, event)
        return watch, events

    return at_desk(work, device, said=said, **(desk_options or {}))


def arrivals(events: list[Event], attribute: str = "") -> list[Arrival]:
    return [each for each in events if isinstance(each, Arrival) and attribute in ("", each.attribute)]


def sending(more: str = "", services: str = SENDING) -> str:
    return device_text(services, more=more)


def test_values_come_with_times_gaps_and_statistics() -> None:
    watch, events = watched("temperature", device=sending(), seconds=2.05)
    came = arrivals(events)
    assert [each.value for each in came] == [20, 22, 20, 22, 20, 22, 20, 22][: len(came)]
    assert [each.number for each in came] == list(range(1, len(came) + 1))
    assert came[0].gap is None
    assert all(each.gap == pytest.approx(0.25, abs=0.06) for each in came[1:]), "a connection interval away at most"
    [temperature] = watch.watched
    assert temperature.pace.rate(2.05) == pytest.approx(4, rel=0.1)
    moments = temperature.series[""].moments
    assert (moments.count, moments.minimum, moments.maximum) == (len(came), 20, 22)
    assert temperature.longest == max(each.gap or 0 for each in came)


def test_it_ends_when_every_attribute_has_sent_enough() -> None:
    _, events = watched("temperature", "battery level", count=2)
    assert [len(arrivals(events, name)) for name in ("temperature", "battery level")] == [2, 2]
    assert events[-1].attribute == "battery level", "it sends every 2 s only"  # type: ignore[union-attr]


def test_the_fields_of_a_structure_are_series() -> None:
    watch, events = watched("log stream", count=5, desk_options={"names": named_log()})
    [log] = watch.watched
    assert list(log.series) == ["number", "temperature", "supply"]
    assert log.series["number"].moments.maximum == 4
    assert log.series["supply"].unit == "mV"
    assert arrivals(events)[-1].value["number"] == 4


def test_without_a_format_the_bytes_are_shown() -> None:
    watch, events = watched(LOG, count=2)
    assert [each.value for each in arrivals(events)] == [None, None]
    assert not watch.watched[0].series[""].is_numeric
    assert watch.watched[0].series[""].last == arrivals(events)[-1].raw.hex().upper()


def test_a_format_that_is_given_comes_first() -> None:
    form = build_format(FormatSpec(as_="sint16", scale=Exact("0.1"), unit="°C"))
    _, events = watched("temperature", device=sending(), count=1, form=form)
    assert arrivals(events)[0].value == 200


def test_the_device_may_say_the_format_itself() -> None:
    """Characteristic Presentation Format, GSS: uint16 with exponent -2, degree Celsius."""
    services = """services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: 6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40
        properties: [notify]
        raw: 'D0 07'
        notify: {period: 100 ms}
        descriptors: [{descriptor: characteristic presentation format, raw: '06 FE 2F 27 01 00 00'}]
"""
    watch, events = watched("6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40", device=sending(services=services), count=1)
    assert (arrivals(events)[0].value, watch.watched[0].series[""].unit) == (20, "°C")


def test_malformed_values_are_counted_and_end_nothing() -> None:
    watch, events = watched("humidity", device=sending(), count=3)
    assert [each.raw for each in arrivals(events)] == [b"\xff"] * 3
    assert all("2 bytes" in each.wrong for each in arrivals(events))
    assert (watch.watched[0].count, watch.watched[0].malformed) == (3, 3)


@pytest.mark.parametrize(
    ("name", "said"),
    [("pressure", "does not offer notify or indicate"), ("temperature/0x2902", "is a descriptor")],
)
def test_what_sends_nothing_is_refused(name: str, said: str) -> None:
    with pytest.raises(AttributeMissing, match=said):
        watched(name, device=sending(), seconds=1)


def test_one_attribute_under_two_names_is_a_mistake() -> None:
    with pytest.raises(UsageError, match="the same attribute"):
        watched("temperature", "0x2A6E", device=sending(), seconds=1)
    _, events = watched("temperature", "temperature", device=sending(), count=2)
    assert len(events) == 2, "the same word twice is no mistake"


def test_a_counter_shows_what_was_lost_and_goes_on_over_an_outage() -> None:
    names = bring(PLANS / "names" / "transport_box.yaml").names
    sound = box()
    lossy = sound.replace("period: 100 ms, jitter: 2 ms", "period: 100 ms, jitter: 2 ms, drop_every: 5")
    for text, lost in ((sound, 0), (lossy, 5)):
        watch, events = watched("ride", "battery level", device=text, count=24, seconds=60, counter="number", mode="notification",
                                desk_options={"names": names})  # fmt: skip
        ride, battery = watch.watched
        assert ride.tally == Tally(lost, 0)
        assert battery.tally is None
        last = next(each for each in reversed(events) if isinstance(each, Arrival) and each.attribute == "ride")
        assert event_as_data(watch, last).items() >= {("lost", lost), ("duplicated", 0)}


@pytest.mark.parametrize(("counter", "said"), [("count", "no field 'count'"), ("value", "no field")])
def test_what_does_not_count_is_a_mistake(counter: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        watched("log stream", desk_options={"names": named_log()}, counter=counter)


def test_a_mode_that_is_not_offered_is_refused() -> None:
    with pytest.raises(AttributeMissing, match="does not offer indicate"):
        watched("temperature", mode="indication")


def test_a_lost_link_ends_it() -> None:
    with pytest.raises(LinkLost, match="after 1"):
        watched("temperature", device=sending(LOSING), seconds=5)


def test_with_reconnect_a_lost_link_is_a_hole() -> None:
    watch, events = watched("temperature", device=sending(LOSING), seconds=3.4, reconnect=True)
    kinds = [type(each) for each in events if not isinstance(each, Arrival)]
    assert kinds == [LinkLoss, Hole]
    at = next(n for n, each in enumerate(events) if isinstance(each, LinkLoss))
    lost, hole, after = events[at : at + 3]
    assert isinstance(lost, LinkLoss)
    assert isinstance(hole, Hole)
    assert isinstance(after, Arrival)
    assert "terminated" in lost.reason
    assert (hole.start, hole.back) == (lost.at, True)
    assert lost.at < hole.end <= after.at
    assert after.gap is None, "a gap over the hole is none"
    assert watch.watched[0].longest == pytest.approx(0.25, abs=0.06)
    assert None in watch.watched[0].series[""].strip.columns(3.4, 40)


def test_a_watch_may_end_in_a_hole() -> None:
    gone = "faults: {disconnect_after: 2 s, stop_advertising_after: 2500 ms}"
    said: list[str] = []
    holes: list[list[Hole]] = []
    watch, events = watched(
        "temperature",
        device=sending(gone),
        during=lambda watch, event: holes.append(watch.holes),
        seconds=20,
        reconnect=True,
        said=said,
        desk_options={"within": 5.0},
    )
    assert (holes[-3], holes[-1]) == ([], [events[-1]])
    assert isinstance(events[-1], Hole)
    assert (events[-1].end, events[-1].back) == (pytest.approx(20), False)
    assert not watch.is_connected
    assert any("not heard" in line for line in said)


def test_events_as_data() -> None:
    watch, events = watched("log stream", count=1, desk_options={"names": named_log()})
    data = event_as_data(watch, events[0])
    assert (data["event"], data["attribute"]) == ("value", "log stream")
    assert data["content"]["units"]["supply"] == "mV"
    assert data["time"].startswith("2026-11-25T12:00:00.")
    assert event_as_data(watch, LinkLoss(61.5, "gone"))["time"] == "2026-11-25T12:01:01.500Z"
    assert event_as_data(watch, Hole(1.0, 2.0, back=False))["event"] == "no link"


def test_nested_fields_have_dotted_names() -> None:
    assert dict(fields_of({"a": 1, "b": {"c": 2}})) == {"a": 1, "b.c": 2}
    assert dict(fields_of(7)) == {"": 7}


def test_words_and_truths_are_no_numbers() -> None:
    one = Channel("x", build_format(FormatSpec(as_="uint8", words={255: "not known"})))
    one.take(1.0, b"\x07")
    one.take(2.0, b"\xff")
    series = one.series[""]
    assert (series.last, series.moments.count, one.count) == ("not known", 1, 2)


# --- files


def saved(path: Path, *names: str, **options: Any) -> list[Event]:
    files: list[WatchFile] = []

    def keep(watch: Watch, event: Event) -> None:
        if not files:
            files.append(WatchFile(path, watch, radio="virtual", simulated=True))
        files[0].add(event)

    _, events = watched(*names, during=keep, **options)
    files[0].close()
    return events


def test_csv_has_a_row_a_number_and_the_hole(tmp_path: Path) -> None:
    events = saved(tmp_path / "w.csv", "temperature", "humidity", device=sending(LOSING), seconds=3.4, reconnect=True)
    with (tmp_path / "w.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(events)
    first = rows[0]
    assert {key: first[key] for key in ("attribute", "number", "value", "units", "raw", "simulated", "device")} == {
        "attribute": "temperature", "number": "1", "value": "20.0", "units": "°C", "raw": "D007", "simulated": "true",
        "device": "unit 1",
    }  # fmt: skip
    assert [row["event"] for row in rows if row["event"] != "value"] == ["link lost", "link back"]
    [back] = [row for row in rows if row["event"] == "link back"]
    [lost] = [row for row in rows if row["event"] == "link lost"]
    assert back["note"] == f"no link since {lost['seconds']} s"
    assert {row["value"] for row in rows if row["attribute"] == "humidity"} == {""}


def test_csv_has_a_row_a_field(tmp_path: Path) -> None:
    saved(tmp_path / "w.csv", "log stream", count=2, desk_options={"names": named_log()})
    with (tmp_path / "w.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(row["field"], row["units"]) for row in rows] == [
        ("number", ""),
        ("temperature", "°C"),
        ("supply", "mV"),
    ] * 2


def test_text_that_is_a_formula_to_a_spreadsheet_is_none_in_csv(tmp_path: Path) -> None:
    text = sending(
        services="""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: 6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40, as: utf8, properties: [notify], value: '=1+1',
         notify: {period: 100 ms}}
"""
    )
    form = build_format(FormatSpec(as_="utf8"))
    saved(tmp_path / "w.csv", "6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40", device=text, count=1, form=form)
    assert "'=1+1" in (tmp_path / "w.csv").read_text(encoding="utf-8")


def test_json_lines_are_the_events_after_a_head(tmp_path: Path) -> None:
    saved(tmp_path / "w.jsonl", "temperature", device=sending(LOSING), seconds=4.0, reconnect=True)
    head, first, *rest = [json.loads(line) for line in (tmp_path / "w.jsonl").read_text(encoding="utf-8").splitlines()]
    assert head == {
        "event": "watch", "time": "2026-11-25T12:00:00.000Z", "device": "unit 1", "radio": "virtual", "simulated": True,
        "attributes": [{"attribute": "temperature", "format": "sint16 × 0.01 °C"}],
    }  # fmt: skip
    content = {"raw": "D007", "value": 20, "unit": "°C", "format": "sint16 × 0.01 °C"}
    assert (first["content"], first["number"]) == (content, 1)
    [back] = [each for each in rest if each["event"] == "link back"]
    assert 1 < back["lost_from"] < back["seconds"]


def test_what_has_come_is_on_disk_at_once(tmp_path: Path) -> None:
    path = tmp_path / "w.jsonl"
    sizes: list[int] = []
    files: list[WatchFile] = []

    def keep(watch: Watch, event: Event) -> None:
        if not files:
            files.append(WatchFile(path, watch, radio="virtual", simulated=True))
        files[0].add(event)
        sizes.append(len(path.read_text(encoding="utf-8").splitlines()))

    watched("temperature", device=sending(), count=3, during=keep)
    files[0].close()
    assert sizes == [2, 3, 4]


def test_no_file_is_written_over_and_bad_names_are_found_before(tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_text("precious")
    for name, said in (("old.csv", "already exists"), ("w.txt", "neither CSV"), ("none/w.csv", "no folder")):
        with pytest.raises(UsageError, match=said):
            check_file(tmp_path / name)


def test_a_file_that_cannot_be_written_is_the_stations_fault(tmp_path: Path) -> None:
    with pytest.raises(StationError, match="cannot be written"):
        saved(tmp_path / "none" / "w.csv", "temperature", device=sending(), count=1)


def test_events_come_in_the_order_of_their_times() -> None:
    _, events = watched("temperature", "humidity", device=sending(LOSING), seconds=12, reconnect=True)
    times = [each.end if isinstance(each, Hole) else each.at for each in events]
    assert sum(isinstance(each, Hole) for each in events) >= 2
    assert times == sorted(times)


def test_an_adapter_that_is_switched_off_ends_a_watch_that_reconnects() -> None:
    async def work(desk: Desk) -> None:
        async def off() -> StationError:
            return StationError("the adapter is switched off")

        watch = Watch(desk, ["temperature"], seconds=20, reconnect=True)
        async for event in watch.events():
            assert not isinstance(event, LinkLoss)
            desk.radio.trouble = off  # type: ignore[method-assign]

    with pytest.raises(StationError, match="switched off"):
        at_desk(work, sending(LOSING))
