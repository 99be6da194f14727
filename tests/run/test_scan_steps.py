"""scan, connect, disconnect and wait through whole runs: every reading, with limits that pass and limits that fail."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.radio.bumble_stack import host
from benchrig.radio.bumble_stack.reports import HeardPdu, reports
from benchrig.record.events import Where
from benchrig.station.station import Station, load_station
from tests.run.kit import Ran, device_text, plan_text, run

ADVERTISER = """
device: unit 1
address: 'C4:00:00:00:00:01'
rssi: {mean: -60 dBm}
advertising:
  interval: 100 ms
  data: {flags: 0x06, name: unit 1, services: [battery service], tx_power: 4 dBm, service_data: {battery service: '55'}}
  scan_response: {manufacturer: {company: 0xFFFF, data: '03 01'}}
"""


def scanned(limits: str, *, more: str = "", device: str = ADVERTISER) -> Ran:
    return run(plan_text("", reach=f"steps:\n  - scan:\n    for: 1 s\n{more}    expect: {{{limits}}}\n"), device)


@pytest.mark.parametrize(
    ("passes", "fails"),
    [
        ("found_after: {max: 110 ms}", "found_after: {min: 1 s}"),
        ("count: {min: 8}", "count: {max: 5}"),
        ("rssi: {nominal: -60 dBm, tolerance: 1 dB}", "rssi: {min: -50 dBm}"),
        # each event comes up to 10 ms late, as Core Vol 6 Part B 4.4.2.2.1 demands
        ("interval: {min: 100 ms, max: 110 ms}", "interval: {max: 99 ms}"),
        ("name: {equals: unit 1}", "name: {equals: unit 2}"),
        ("services: {contains: battery service}", "services: {contains: heart rate}"),
        ("manufacturer_data: {equals: 'FF FF 03 01'}", "manufacturer_data: {equals: 'FF FF 03 02'}"),
        ("service_data: {contains: battery service=55}", "service_data: {contains: battery service=56}"),
        ("tx_power: {equals: 4 dBm}", "tx_power: {max: 0 dBm}"),
        ("address_type: {equals: random}", "address_type: {equals: public}"),
        ("address: {equals: 'C4:00:00:00:00:01'}", "address: {matches: 'D0:.*'}"),
    ],
)
def test_every_reading_of_scan(passes: str, fails: str) -> None:
    assert scanned(passes).ended.exit_code == 0
    failed = scanned(fails)
    assert (failed.ended.verdict, failed.ended.cause, failed.ended.exit_code) == ("fail", "limit", 1)


def test_a_passive_scan_hears_no_scan_response() -> None:
    limits = "manufacturer_data: {equals: 'FF FF 03 01'}"
    assert scanned(limits, more="    mode: active\n").ended.verdict == "pass"
    failed = scanned(limits, more="    mode: passive\n")
    assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit")


def test_the_data_are_judged_byte_by_byte() -> None:
    bare = device_text()
    assert scanned("data: {equals: '02 01 06 07 09 75 6E 69 74 20 31'}", device=bare).ended.verdict == "pass"
    assert scanned("data: {equals: '02 01 05 07 09 75 6E 69 74 20 31'}", device=bare).ended.cause == "limit"
    assert scanned("scan_response: {equals: ''}", device=bare).ended.verdict == "pass"
    assert scanned("scan_response: {length: 1}", device=bare).ended.cause == "limit"


def test_a_limit_on_what_is_not_advertised_fails() -> None:
    failed = scanned("tx_power: {max: 0 dBm}", device=device_text())
    assert failed.ended.cause == "limit"
    assert failed.reading(1, "tx_power").value is None


def test_a_level_that_was_not_measured_satisfies_no_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    def unmeasured(packet: bytes) -> Iterator[HeardPdu]:
        return (replace(pdu, rssi=127) for pdu in reports(packet))

    monkeypatch.setattr(host, "reports", unmeasured)
    limited = scanned("rssi: {min: -70 dBm}")
    assert (limited.ended.verdict, limited.ended.cause, limited.ended.exit_code) == ("error", "station", 5)
    assert scanned("count: {min: 8}").ended.verdict == "pass"


def test_the_bench_adds_the_offset_of_its_fixture() -> None:
    from benchrig.values.quantity import Gain

    plan = plan_text("", reach="steps:\n  - scan:\n    for: 1 s\n    expect: {rssi: {equals: -47 dBm}}\n")
    station = Station("bench 1", rssi_offset=Gain.from_source("13 dB"))
    ran = run(plan, ADVERTISER, station=station)
    assert ran.ended.verdict == "pass"
    assert "levels: +13 dB for the fixture, from the station file" in [note.text for note in ran.record.notes]


@pytest.mark.parametrize("offset", ["61 dB", "-200 dB"])
def test_an_offset_that_no_fixture_has_is_refused(offset: str, tmp_path: Path) -> None:
    file = tmp_path / "station.yaml"
    file.write_text(f"station: bench 1\nrssi_offset: {offset}\n")
    with pytest.raises(PlanError, match="makes up for no fixture"):
        load_station(file)


def test_connect_scans_by_itself() -> None:
    ran = run(plan_text("", reach="steps:\n  - connect:\n    expect: {elapsed: {max: 2 s}}\n"), ADVERTISER)
    assert ran.ended.verdict == "pass"
    assert ran.record.unit.address == "C4:00:00:00:00:01"


@pytest.mark.parametrize(
    ("passes", "fails"),
    [
        ("elapsed: {max: 2 s}", "elapsed: {max: 1 ms}"),
        ("attempts: {max: 1}", "attempts: {min: 2}"),
        # an ATT MTU of 247 carries 244 bytes of value: Core Vol 3 Part F 3.4.5.3
        ("payload: {equals: 244 bytes}", "payload: {min: 245 bytes}"),
    ],
)
def test_every_reading_of_connect(passes: str, fails: str) -> None:
    for limits, code in ((passes, 0), (fails, 1)):
        reach = f"steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    expect: {{{limits}}}\n"
        assert run(plan_text("", reach=reach), device_text()).ended.exit_code == code


@pytest.mark.parametrize(
    ("passes", "fails"),
    [("elapsed: {max: 1 s}", "elapsed: {max: 0 s}"), ("advertises_after: {max: 1 s}", "advertises_after: {min: 5 s}")],
)
def test_every_reading_of_disconnect(passes: str, fails: str) -> None:
    for limits, code in ((passes, 0), (fails, 1)):
        assert run(plan_text(f"  - disconnect:\n    expect: {{{limits}}}\n"), device_text()).ended.exit_code == code


def test_a_unit_that_never_advertises_again_fails() -> None:
    device = device_text(more="faults: {stop_advertising_after: 2 s}")
    steps = "  - wait: 3 s\n  - disconnect:\n    expect: {advertises_after: {max: 2 s}}\n"
    failed = run(plan_text(steps), device)
    assert (failed.ended.cause, failed.ended.root) == ("limit", Where("4"))
    assert failed.reading("disconnect", "advertises_after").value is None


def test_a_second_connect_is_a_mistake_of_the_plan() -> None:
    with pytest.raises(PlanError, match="runs while the unit is connected already"):
        run(plan_text("  - connect:\n"), device_text())


def test_finally_may_connect_whether_or_not_there_is_a_link() -> None:
    cleanup = "finally:\n  - connect:\n    name: again\n  - wait: 1 s\n    expect: {elapsed: {max: 2 s}}\n"
    assert run(plan_text("  - wait: 1 s\n") + cleanup, device_text()).verdicts() == ["pass"] * 5
    assert run(plan_text("  - disconnect:\n") + cleanup, device_text()).verdicts() == ["pass"] * 5


def test_every_reading_of_wait() -> None:
    for limit, code in (("min: 3 s, max: 3 s", 0), ("max: 2.9 s", 1)):
        plan = plan_text("", reach=f"steps:\n  - wait: 3 s\n    expect: {{elapsed: {{{limit}}}}}\n")
        assert run(plan).ended.exit_code == code


@pytest.mark.parametrize("limit", ["count: {max: 30}", "count: {min: 30}"])
def test_a_scan_that_the_deadline_cuts_short_judges_nothing(limit: str) -> None:
    """The device sends 10 a second: in 5 s too many for the first limit and enough for the second."""
    plan = plan_text("", reach=f"deadline: 2 s\nsteps:\n  - scan:\n    for: 5 s\n    expect: {{{limit}}}\n")
    ran = run(plan, ADVERTISER)
    assert (ran.ended.exit_code, ran.ended.judged) == (1, 0)
    assert ran.ended.message == "the plan's deadline of 2 s ran out (2 s were left of the 5 s to listen for)"


def test_the_clean_up_connects_after_a_scan_that_was_cut_short() -> None:
    plan = plan_text(
        "", reach="deadline: 3 s\nsteps:\n  - scan:\n    for: 1 s\n  - scan:\n    name: cut\n    for: 9 s\n"
    )
    ran = run(plan + "finally:\n  - connect:\n", ADVERTISER)
    assert ran.verdicts() == ["pass", "fail", "pass"]
