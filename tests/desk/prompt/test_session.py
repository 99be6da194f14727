"""What the verbs of a session do with a device."""

from __future__ import annotations

import contextlib
from datetime import UTC, datetime
from typing import Any

import pytest

from benchrig.desk.desk import Desk
from benchrig.desk.prompt.deeds import Connected, ConnectionLost
from benchrig.desk.prompt.session import Session
from benchrig.desk.prompt.verbs import do
from benchrig.errors import (
    AmbiguousDevice,
    AttError,
    AttributeMissing,
    BenchrigError,
    DeviceNotFound,
    LinkError,
    LinkLost,
    MalformedValue,
    OperatorError,
    StationError,
    UnfitValue,
    UsageError,
)
from benchrig.radio.port.radio import PortedRadio
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection
from benchrig.steps.attribute import Names
from tests.desk.kit import at_desk
from tests.desk.prompt.kit import LOGGER, talked
from tests.run.kit import device_text

THERMOMETER = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, notify], value: 21.5 °C, notify: {period: 500 ms}}
"""
VOLTAGE = "6b1d0030-9a53-4c86-8a3e-2f0f6c1d7e40"
# uint16, exponent -3, volt (Bluetooth Core Vol 3 Part G 3.3.3.5; unit 0x2728, assigned numbers)
PRESENTING = device_text(f"""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: {VOLTAGE}
        as: hex
        properties: [read, write, notify]
        value: 'A9 0B'
        notify: {{period: 1 s}}
        descriptors: [{{descriptor: characteristic presentation format, raw: '06 FD 28 27 01 00 00'}}]
""")
OTHER = device_text(THERMOMETER, name="unit 2", address="C4:00:00:00:00:02")
LEAVES = device_text(THERMOMETER, more="faults: {disconnect_after: 2 s}")


def test_the_first_verb_that_needs_a_device_connects() -> None:
    done = talked("read humidity")
    assert [result["verb"] for result in done.results] == ["connect", "read"]
    assert done.of("connect")[0]["device"] == "VFL-0042"
    assert done.of("read")[0]["content"].value == 43.5


def test_several_attributes_in_one_line() -> None:
    values = [result["content"].value for result in talked("read battery level model number").of("read")]
    assert values == [97, "VFL3"]


def test_a_format_of_ones_own() -> None:
    line = "read 6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40 --as uint16 --scale 0.001 --unit V"
    assert talked(line).of("read")[0]["content"].value == 2.985


def test_a_refusal_is_an_error_and_the_session_goes_on() -> None:
    with pytest.raises(AttError, match="read not permitted"):
        talked("read factory key")


def test_a_write_is_asked_for_once_an_attribute() -> None:
    """Who says yes to a harmless write has not said yes to one that turns a wheel."""
    lines = ("write alarm limit 8 °C --read-back", "write note 'shelf 3'", "write alarm limit 9 °C")
    done = talked(*lines, caution="Mind the relay.")
    assert [result["written"].value for result in done.of("write")] == [8, "shelf 3", 9]
    assert done.of("write")[0]["read_back"].value == 8
    asked, other = done.asked
    assert "'note'" in other
    assert "Further writes to this attribute will not ask again." in asked
    assert "writes 8 °C to 'alarm limit' of VFL-0042" in asked
    assert "Mind the relay." in asked


def test_nothing_is_asked_when_it_was_acknowledged_before() -> None:
    assert talked("write alarm limit 8 °C", acknowledged=True).asked == []


def test_a_write_that_is_not_acknowledged_is_not_sent() -> None:
    with pytest.raises(OperatorError):  # the device would answer with an ATT error
        talked("write factory key 01020304", answer=OperatorError("no"))


def test_a_write_that_the_attribute_does_not_offer_is_not_asked_for() -> None:
    with pytest.raises(AttributeMissing, match="does not offer write"):
        talked("write battery level 50 %", answer=OperatorError("no"))


def test_a_value_of_an_attribute_that_nothing_is_known_of_is_asked_how_it_reads() -> None:
    with pytest.raises(UnfitValue, match="is unknown") as caught:
        talked("write 6b1d0005-9a53-4c86-8a3e-2f0f6c1d7e40 85 °C", names=Names(), answer=OperatorError("no"))
    assert "--as FORMAT" in caught.value.advice
    assert "--raw" in caught.value.advice


def test_a_value_that_does_not_fit_is_not_asked_for() -> None:
    with pytest.raises(UsageError, match="has no unit"):
        talked("write alarm limit 8")


def test_bytes_and_a_structure_are_written() -> None:
    assert talked("write command --raw 81 00").of("write")[0]["written"].raw == "8100"
    with pytest.raises(AttributeMissing, match="does not offer write"):
        talked("write log stream number=1 temperature=2 °C supply=3 mV")


def test_a_value_that_is_not_kept_is_an_error() -> None:
    device = device_text(THERMOMETER.replace("[read, notify]", "[read, write], on_write: {store: false}"))
    with pytest.raises(MalformedValue, match="read back"):
        talked("write temperature 8 °C --read-back", devices=(device.replace("notify: {period: 500 ms}", ""),))


def test_notifications_come_in_the_background_until_unwatched() -> None:
    done = talked("watch temperature", "wait 2.2 s", "unwatch", "wait 2 s")
    shown = done.of("watch")
    assert "begins" in shown[0]
    assert [round(each["seconds"]) for each in shown[1:]] == [1, 2]
    first, second = (datetime.fromisoformat(each["time"]) for each in shown[1:])
    assert second.tzinfo == UTC
    assert (second - first).total_seconds() == pytest.approx(1.0, abs=0.05)
    [end] = done.of("unwatch")
    assert (end["count"], round(end["rate"], 1)) == (2, 1.0)


def test_a_format_that_the_device_says_itself_is_used_and_asked_for_once() -> None:
    done = talked(f"read {VOLTAGE}", f"write {VOLTAGE} 3.1 V", f"watch {VOLTAGE}", "wait 1.5 s", devices=(PRESENTING,))
    values = [each["content"].value for each in done.results if "content" in each]
    assert (values, done.of("write")[0]["written"].raw) == ([2.985, 3.1], "1C0C")


def test_a_flood_is_thinned_for_a_terminal_and_counted() -> None:
    done = talked("watch log stream", "wait 10 s", "unwatch", thinned=True)
    shown = [each for each in done.of("watch") if "seconds" in each]
    [end] = done.of("unwatch")
    assert end["count"] > 190
    assert len(shown) < 70
    assert len(shown) + sum(each.get("passed_over", 0) for each in shown) == end["count"]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["watch temperature", "watch environmental sensing/temperature"], "watched already"),
        (["unwatch temperature"], "not watched"),
        (["watch humidity"], "does not offer notify"),
        (["watch temperature/user description"], "only characteristics send"),
        (["connect", "connect"], "is connected"),
        (["disconnect"], "no device is connected"),
        (["disconnect now"], "takes no 'now'"),
        (["red temperature"], "no verb 'red'"),
        (["read"], "needs to know what"),
        (["read temprature"], "unknown attribute"),
        (["read temperature --scale 0.1"], "goes with --as"),
        (["read temperature --as uint99"], "unknown format"),
        (["write alarm limit"], "either a value or --raw"),
        (["write alarm limit 8 °C --raw 00"], "either a value or --raw"),
        (["write alarm limit --raw 0"], "hex text"),
        (["wait 2"], "found"),
    ],
)
def test_what_a_line_cannot_mean_is_said(lines: list[str], said: str) -> None:
    with pytest.raises(BenchrigError, match=said) as caught:
        talked(*lines)
    assert caught.value.cause in ("plan", "device")


def test_exit_is_as_good_as_quit() -> None:
    async def work(desk: Desk) -> list[bool]:
        session = Session(desk, lambda _: None, _never)
        return [await do(session, "help"), await do(session, "exit"), await do(session, "quit")]

    assert at_desk(work, LOGGER) == [True, False, False]


async def _never(_: str) -> None:
    raise AssertionError("nothing is to be asked")


def test_nothing_is_said_by_an_empty_line_and_a_comment() -> None:
    assert talked("", "   ", "# read temperature").results == []


def test_a_lost_link_is_said_and_the_next_verb_says_it_too() -> None:
    with pytest.raises(LinkLost, match="the link was lost") as caught:
        talked("connect", "scan --for 3 s", "read temperature", devices=(LEAVES,))
    assert caught.value.advice.startswith("type 'connect'")


def test_a_wait_that_a_lost_link_ends_says_how_far_it_came_after_the_loss_was_said() -> None:
    shown: list[dict[str, Any]] = []
    with pytest.raises(LinkLost, match=r"the link was lost [12].* s into the wait$"):
        talked("connect", "wait 5 s", devices=(LEAVES,), into=shown)
    assert "lost" in shown[-1]


def test_what_the_station_did_ends_a_wait_as_the_stations_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    async def trouble(radio: Radio) -> StationError:
        return StationError("the adapter 'hci0' is switched off")

    monkeypatch.setattr(Radio, "trouble", trouble)
    monkeypatch.setattr(PortedRadio, "trouble", trouble)
    monkeypatch.setattr(Desk, "hearing", lambda desk: contextlib.nullcontext())
    for lines in (("connect", "wait 5 s"), ("connect", "scan --for 3 s", "read temperature")):
        with pytest.raises(StationError, match="switched off"):
            talked(*lines, devices=(LEAVES,), reconnect=len(lines) > 2)


def test_what_is_watched_can_be_read_where_listeners_would_hear_it(monkeypatch: pytest.MonkeyPatch) -> None:
    async def prepare(radio: Radio, selection: Selection, within: float) -> list[str]:
        radio.reads_reach_listeners = True
        return []

    monkeypatch.setattr(Radio, "prepare", prepare)
    done = talked("watch temperature", "wait 2.5 s", "read temperature", "wait 2.5 s", "unwatch temperature")
    assert (len(done.of("read")), len(done.of("watch"))) == (1, done.of("unwatch")[0]["count"] + 1)
    assert done.of("unwatch")[0]["count"] >= 3


def test_connect_connects_again_and_takes_up_what_was_watched() -> None:
    done = talked("watch temperature", "scan --for 3 s", "connect", "wait 1.2 s", devices=(LEAVES,))
    lost = next(result for result in done.results if "lost" in result)
    assert lost["device"] == "unit 1"
    assert len(done.of("connect")) == 3
    after = done.results[done.results.index(done.of("connect")[2]) :]
    assert [result["verb"] for result in after][:2] == ["connect", "watch"]
    assert any("content" in result for result in after)


def test_a_lost_device_is_looked_for_without_being_told() -> None:
    done = talked("connect", "scan --for 6 s", "read temperature", devices=(LEAVES,), reconnect=True)
    assert len([result for result in done.of("connect") if "elapsed" in result]) >= 2
    assert done.of("read")


def test_a_wait_outlasts_a_lost_link_that_comes_back() -> None:
    done = talked("watch temperature", "wait 7 s", devices=(LEAVES,), reconnect=True)
    assert len([result for result in done.of("connect") if "lost" in result]) >= 2
    assert done.of("wait") == [{"verb": "wait", "seconds": 7.0}]


def test_what_follows_a_disconnect_waits_for_a_connect() -> None:
    with pytest.raises(LinkLost, match="no device is connected"):
        talked("connect", "disconnect", "read temperature")
    done = talked("connect", "disconnect", "connect", "read temperature")
    assert [result["verb"] for result in done.results] == ["connect", "disconnect", "connect", "read"]


def test_of_several_devices_one_is_named() -> None:
    with pytest.raises(AmbiguousDevice) as caught:
        talked("connect", devices=(LOGGER, OTHER))
    assert "connect with the name" in caught.value.advice
    done = talked("connect unit 2", "read temperature", devices=(LOGGER, OTHER))
    assert done.of("connect")[0]["address"] == "C4:00:00:00:00:02"
    assert talked("connect C4:00:00:00:00:02", devices=(LOGGER, OTHER)).of("connect")[0]["device"] == "unit 2"


def test_after_a_device_that_was_not_found_the_one_before_is_meant() -> None:
    async def work(desk: Desk) -> list[str]:
        async def yes(_: str) -> None: ...

        session = Session(desk, lambda _: None, yes)
        await do(session, "connect unit 2")
        await do(session, "disconnect")
        with pytest.raises(DeviceNotFound) as caught:
            await do(session, "connect nix")
        await do(session, "connect")
        await session.close()
        return [session.connection.who, caught.value.advice]

    who, advice = at_desk(work, LOGGER, OTHER)
    assert who == "unit 2"
    assert "--" not in advice
    assert "its name or address is written in full" in advice


def test_an_absent_device_is_said() -> None:
    with pytest.raises(DeviceNotFound):
        talked("connect nobody")


def test_a_scan_lists_what_is_heard_and_which_is_meant() -> None:
    [heard] = talked("scan --for 1 s", devices=(LOGGER, OTHER)).results
    assert {(each["name"], each["meant"]) for each in heard["devices"]} == {("VFL-0042", True), ("unit 2", True)}


def test_the_table_has_all_attributes() -> None:
    [shown] = talked("table").of("table")
    names = [each.name for service in shown["services"] for each in service.characteristics]
    assert names[-7:] == ["alarm limit", "command", "log stream", "log interval", "factory key",
                          "6b1d0007-9a53-4c86-8a3e-2f0f6c1d7e40", "note"]  # fmt: skip


def test_help_says_how_each_verb_is_written() -> None:
    [all_verbs] = talked("help").results
    assert len(all_verbs["verbs"]) == 18
    [one] = talked("help write").results
    assert one["verbs"][0]["options"][:2] == ["--raw HEX", "--read-back"]


def _in_session(change: Any, *lines: str) -> list[dict[str, Any]]:
    """A session with a radio that is changed after the first line."""
    results: list[dict[str, Any]] = []

    async def yes(_: str) -> None: ...

    async def work(desk: Desk) -> None:
        session = Session(desk, results.append, yes)
        try:
            for number, line in enumerate(lines):
                if number == 1:
                    change(desk.radio)
                await do(session, line)
        finally:
            await session.close()

    at_desk(work, LEAVES)
    return results


def test_a_wait_that_a_lost_adapter_cut_short_is_the_stations_failure() -> None:
    async def off() -> StationError:
        return StationError("the adapter is switched off")

    with pytest.raises(StationError, match="switched off"):
        _in_session(lambda radio: setattr(radio, "trouble", off), "read temperature", "wait 6 s")


def test_what_is_watched_can_be_read_on_a_radio_that_mixes_the_two_up() -> None:
    results = _in_session(
        lambda radio: setattr(radio, "reads_reach_listeners", True),
        "help", "watch temperature", "read temperature", "wait 700 ms", "unwatch temperature",
    )  # fmt: skip
    assert [each["verb"] for each in results if each["verb"] in ("read", "unwatch")] == ["read", "unwatch"]
    assert results[-1]["count"] >= 1


def test_a_lost_device_that_does_not_come_back_is_not_waited_for_for_ever() -> None:
    gone = device_text(THERMOMETER, more="faults: {disconnect_after: 4 s, stop_advertising_after: 5 s}")
    with pytest.raises(LinkError):
        talked("read temperature", "wait 6 s", "read temperature", devices=(gone,), reconnect=True)


class Unlucky(Session):
    """Loses each connection but the first while it takes up what it watched."""

    async def connected(self) -> None:
        if any(isinstance(deed, ConnectionLost) for deed in self.deeds):
            await self.connection.give_up()
            raise LinkLost("the link was lost while it subscribed")


def test_a_link_that_is_lost_again_at_once_is_lost_on_record_too() -> None:
    """A plan that connected twice in a row could not be run."""

    async def work(desk: Desk) -> list[type]:
        async def yes(_: str) -> None: ...

        session = Unlucky(desk, lambda _: None, yes, reconnect=True)
        for line in ("connect", "wait 12 s"):
            await do(session, line)
        await session.close()
        return [type(deed) for deed in session.deeds if isinstance(deed, (Connected, ConnectionLost))]

    kinds = at_desk(work, LEAVES)
    assert kinds == ([Connected, ConnectionLost] * len(kinds))[: len(kinds)]
    assert len(kinds) > 4
