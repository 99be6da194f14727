"""What a plan makes of the reports of a controller behind TCP."""

import pytest

from tests.radio.hci.controller import hearing, opener
from tests.radio.reports import ADV_IND, name_field, report
from tests.radio.running import run_plan

SCAN = "plan: a\ndevice: {{select: {{name: VFL-*{select}}}}}\nsteps:\n  - scan:\n    for: 600 ms\n    within: 700 ms\n{more}"


async def scanned(folder, *reports, select="", more=""):
    async with hearing(*reports) as address:
        return await run_plan(SCAN.format(select=select, more=more), opener(address), folder)


def without_level(number=1, at=0.05):
    return at, report(name_field(f"VFL-{number}"), rssi=127, number=number)


async def test_no_level_is_no_reading(tmp_path):
    done = await scanned(tmp_path, without_level(), more="    expect: {count: {min: 1}}\n")
    assert (done.ended.verdict, done.reading("scan", "rssi").value) == ("pass", None)


LIMIT = "    expect: {rssi: {min: -75 dBm}}\n"


@pytest.mark.parametrize("rssi", [127, 21, -128])
async def test_a_limit_on_a_level_that_the_controller_did_not_measure(tmp_path, rssi):
    done = await scanned(tmp_path, (0.05, report(name_field("VFL-1"), rssi=rssi)), more=LIMIT)
    assert (done.ended.verdict, done.ended.cause) == ("error", "station")
    assert "rssi is not judged: the radio reported no RSSI of the unit" in done.ended.message


async def test_the_level_127_dbm_below_is_one(tmp_path):
    done = await scanned(tmp_path, (0.05, report(name_field("VFL-1"), rssi=-127)), more=LIMIT)
    assert (done.ended.cause, done.reading("scan", "rssi").value) == ("limit", -127)


async def test_a_selection_by_level_is_not_the_units_fault(tmp_path):
    done = await scanned(tmp_path, without_level(), select=", rssi_min: -70 dBm")
    assert (done.ended.cause, done.ended.exit_code) == ("station", 7)
    assert "VFL-1 C4:00:00:00:00:01 level unknown: the radio reported no RSSI to select by" in done.ended.message


async def test_without_a_level_none_is_the_nearest(tmp_path):
    two = without_level(1), (0.06, report(name_field("VFL-2"), rssi=-60, number=2))
    done = await scanned(tmp_path, *two, select=", nearest: 6 dB")
    assert (done.ended.cause, done.ended.exit_code) == ("station", 7)
    assert "the level of one is not known" in done.ended.message


async def test_events_without_a_scan_response_are_all_counted(tmp_path):
    events = [(at / 1000, report(name_field("VFL-1"), kind=ADV_IND)) for at in (20, 80, 140, 200)]
    done = await scanned(tmp_path, *events, more="    expect: {count: {equals: 4}}\n")
    assert done.ended.verdict == "pass"


async def test_a_single_event_without_a_scan_response_is_heard(tmp_path):
    event = report(name_field("VFL-1"), kind=ADV_IND)
    done = await scanned(tmp_path, (0.05, event), more="    expect: {count: {equals: 1}}\n")
    assert done.ended.verdict == "pass"
