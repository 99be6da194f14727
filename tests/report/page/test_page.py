"""The page of a run: the verdict and what to do first, everything that was measured, and nothing that cannot be believed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any, get_args

import pytest
from lxml import html
from msgspec.structs import replace

from benchrig.errors import Cause
from benchrig.record.aggregate import build_record
from benchrig.record.events import (
    AttemptFailed,
    Closed,
    DeviceSeen,
    Fixture,
    Kept,
    Noted,
    NotJudged,
    Opened,
    PlannedNode,
    PlanSource,
    Reading,
    RunEnded,
    Where,
)
from benchrig.record.line_part import LinePart
from benchrig.record.model import Record
from benchrig.report.files.page import REPORT, html_page
from benchrig.report.page import bounds, head
from benchrig.values.judging import Judgement
from tests.cli.kit import RUN_FILES, files, here
from tests.record.examples import FAILED_RUN, failed_run, run_of, run_started
from tests.run.kit import DEVICES, PLANS, device_text, plan_text, run

BATTERY = "services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 50 %}]}]"
READ = "  - read: battery level\n    expect: {value: {min: 80 %}}\n"


def page(record: Record) -> Any:
    return html.document_fromstring(html_page(record).decode())


def dead_links(root: Any) -> set[str]:
    """Links that lead nowhere, and ids that two elements have."""
    ids = root.xpath("//@id")
    return {href for href in root.xpath("//a/@href") if href[1:] not in ids} | {
        id_ for id_ in ids if ids.count(id_) > 1
    }


def texts(root: Any, path: str) -> list[str]:
    return [" ".join(each.text_content().split()) for each in root.xpath(path)]


def test_the_verdict_and_what_to_do_come_first() -> None:
    root = page(failed_run())
    assert texts(root, "//h1") == ["FAIL Fridge logger, end of line, revision 3"]
    assert texts(root, "//*[@class='decided']") == [
        "step 3 read temperature: fail (limit): 31.27 °C is above the maximum 30 °C by 1.27 °C"
    ]
    assert texts(root, "//*[@class='todo']") == [
        "Reject the unit, or repair it and test it again: a reading is outside its limit."
    ]
    order = [each.tag for each in root.iter() if each.get("class") in ("decided", "todo") or each.tag == "table"]
    assert order.index("table") == 2


def test_the_advice_of_the_record_goes_before_that_of_its_cause() -> None:
    events = [each for each in FAILED_RUN if not isinstance(each, RunEnded)]
    record = build_record([*events, RunEnded(13.81, "fail", 1, 4, "link", Where("5"))])
    assert head.to_do(record) == "move the unit closer"


def test_every_cause_has_something_to_do() -> None:
    assert set(head._TO_DO) == set(get_args(Cause))
    assert head.to_do(failed_run(3)) == "Test again: the record has no verdict."


@pytest.mark.parametrize(
    ("changes", "words", "todo"),
    [
        ({}, "PASS", "Nothing: all limits held."),
        ({"simulated": True}, "PASS, SIMULATED", "Test the real unit: this verdict is about a simulated one."),
        ({"left_out": 2}, "PASS, PARTIAL", "Run the whole plan before you decide on the unit: this was a part of it."),
    ],
)
def test_a_pass_that_is_not_of_a_unit_as_a_whole_is_not_green(changes: dict[str, Any], words: str, todo: str) -> None:
    reading = Reading(Where("1"), 0.4, "value", 3, judgement=Judgement(True, "max 5", "…", None, 5, 2.0))
    root = page(run_of(reading, **changes))
    assert texts(root, "//h1/span") == [words]
    assert root.xpath("//h1/span/@class") == ["marked" if changes else "good"]
    assert root.xpath("//title")[0].text.startswith(f"{words}: ")
    assert [each.split()[0] for each in texts(root, "//*[@class='notice']")] == words.split(", ")[1:]
    assert texts(root, "//*[@class='todo']") == [todo]


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_sound_unit_and_its_faulty_twin(air: str) -> None:
    """Who is to blame and what to do about it, in whatever air."""
    sound = run(plan_text(READ), device_text(BATTERY.replace("50 %", "90 %")), air=air)
    faulty = run(plan_text(READ), device_text(BATTERY), air=air)
    mute = run(
        plan_text(READ), device_text(BATTERY.replace("value: 50 %", "value: 90 %, on_read: {att_error: 0x0E}")), air=air
    )
    heads = [
        (texts(root, "//h1/span"), texts(root, "//*[@class='decided']"))
        for root in map(page, (r.record for r in (sound, faulty, mute)))
    ]
    assert heads[0] == (["PASS, SIMULATED"], [])
    assert heads[1][0] == heads[2][0] == ["FAIL, SIMULATED"]
    assert heads[1][1] == ["step 3 read battery level: fail (limit): 50 % is below the minimum 80 % by 30 %"]
    assert heads[2][1][0].startswith("step 3 read battery level: fail (device): ")


def test_what_a_pass_lacks_is_something_to_do() -> None:
    lacks = NotJudged(Where("1"), 0.4, "rssi", "no radio tells it", unmeasured=True, allowed=True)
    events = [
        run_started(PlannedNode("1", "scan", "scan", "")),
        Opened(Where("1"), 0.1),
        lacks,
        Closed(Where("1"), 0.5, 0.4, "pass"),
    ]
    record = build_record([*events, RunEnded(1.0, "pass", 0, 1, planned=2, not_judged=1, allowed=1)])
    assert head.to_do(record) == "Decide whether the unit may pass without the limits that were not judged."
    unproven = build_record([*events, RunEnded(1.0, "pass", 5, 0)])
    assert texts(page(unproven), "//h1/span")[0].startswith("NOTHING JUDGED")
    assert head.to_do(unproven).startswith("Correct the plan or the station")


def test_a_bar_does_not_hide_what_rounds_have_not_shown() -> None:
    judgement = Judgement(False, "max 5 with 95 %", "…", None, 5, confidence=95, at_most=5.5)
    root = page(run_of(Reading(Where("1"), 0.4, "value.p95", 4, "s", judgement=judgement), verdict="fail"))
    [row] = root.xpath("//section[@aria-labelledby='readings']//tr[th='value.p95']")
    assert "with 95 % confidence, at most 5.5" in row.text_content()


def test_what_failed_comes_before_all_readings() -> None:
    failed, readings = page(failed_run()).xpath("//main/section")[:2]
    assert [each[0].text for each in (failed, readings)] == ["What failed", "Readings"]
    assert texts(failed, ".//tbody/tr[1]/th") == [
        "3 read temperature fail31.27 °C is above the maximum 30 °C by 1.27 °C",
        "4 notify temperature failgap_max: 2.004 s is above the maximum 1.3 s by 0.704 s",
        "5 write alarm limit failthe link was lost (supervision timeout)",
    ]
    assert texts(failed, ".//tr[th[@scope='row']]/*[position() < 3]") == ["value", "fail", "gap_max", "fail"]
    assert not failed.xpath(".//*[@class='notice']")


def test_a_step_around_others_is_told_where_it_says_more_than_they() -> None:
    """Of a run in which all passed nothing is told before the readings; of many that failed the first ones, with their number."""
    sound = run(plan_text(READ.replace("80", "20")), device_text(BATTERY))
    assert texts(page(sound.record), "//main/section/h2")[0] == "Readings"
    group = "  - group: around\n    steps:\n" + "".join(f"    {line}\n" for line in READ.rstrip().split("\n")) * 60
    root = page(run(plan_text(group), device_text(BATTERY)).record)
    told = texts(root, "//section[@aria-labelledby='failed']//tr[th[@scope='rowgroup']]")
    assert (len(told), [each for each in told if "around" in each]) == (bounds.FAILED, [])
    assert texts(root, "//section[@aria-labelledby='failed']/p") == ["10 steps are left out here: see the readings"]


def test_each_limit_has_its_bar_and_a_text_beside_it() -> None:
    root = page(failed_run())
    bars = root.xpath("//section[@aria-labelledby='readings']//*[@class='bar']/@aria-label")
    assert bars[1] == "value: 31.27 °C, limit min 15 °C and max 30 °C: fail"
    assert len(bars) == 4
    row = texts(root, "//section[@aria-labelledby='readings']//tr[th='value'][.//*[@class='bar']][1]/*")
    assert row == ["value", "fail", "31.27", "15", "30", "°C", ""]


def test_the_verdict_stands_beside_the_lines_of_the_plan() -> None:
    ran = run(plan_text(READ), device_text(BATTERY))
    root = page(ran.record)
    lines = {
        each.split(" ", 2)[2] if len(each.split(" ", 2)) > 2 else each: each
        for each in texts(root, "//table[contains(@class,'source')]//tr")
    }
    marked = [each for each in lines.values() if "fail" in each]
    assert len(marked) == 2
    assert "fail step 3 - read: battery level" in marked[0]
    assert "fail 50 %" in marked[1]
    assert dead_links(root) == set()


def test_a_record_without_the_text_of_its_plan_says_so() -> None:
    assert "an earlier version of benchrig" in page(failed_run()).text_content()
    nodes = [PlannedNode("1", "read x", "read", "")]
    grown = build_record([run_started(*nodes), RunEnded(1.0, "pass", 5, 0)])
    assert "asked for in Python" in page(grown).text_content()
    assert dead_links(page(failed_run())) == set()


def test_files_with_alike_names_have_lines_of_their_own() -> None:
    files_ = [PlanSource(name, "- read: x") for name in ("a-b.yaml", "a/b.yaml")]
    nodes = [PlannedNode(str(number), "read x", "read", f"{each.file}:1") for number, each in enumerate(files_, 1)]
    start = replace(run_started(*nodes), plan_text=files_)
    ends = [
        event
        for number in (1, 2)
        for event in (Opened(Where(str(number)), 0.1), Closed(Where(str(number)), 0.2, 0.1, "pass"))
    ]
    root = page(build_record([start, *ends, RunEnded(1.0, "pass", 0, 0)]))
    assert dead_links(root) == set()
    assert len({*root.xpath("//section[h2='Readings']//a/@href")}) == 2


def test_the_time_line_has_every_step_that_ran_with_its_attempts() -> None:
    root = page(failed_run())
    assert [each.split()[0] for each in texts(root, "//table[contains(@class,'times')]/tbody/tr/th")] == [
        "1",
        "2",
        "3",
        "4",
        "5",
    ]
    connect = root.xpath("//table[contains(@class,'times')]/tbody/tr[2]//*[name()='rect']/@class")
    assert connect == ["axis", "again", "good"]


def test_bytes_are_there_for_who_asks() -> None:
    [told] = page(failed_run()).xpath("//section[h2='Bytes']//details[summary[contains(.,'3 read temperature')]]")
    assert "37 0C" in told.text_content()
    assert told.get("open") is None


def test_secrets_are_not_on_it() -> None:
    told = "services: [{service: device information, characteristics: [{characteristic: firmware revision, properties: [read], value: hush-3}]}]"
    steps = "  - read: firmware revision\n    expect: {value: {equals: '${build}'}}\n"
    given = "given: {build: {secret: true}}\n"
    record = run(plan_text(steps, head=given), device_text(told), given={"build": "hush-3"}).record
    assert record.verdict == "pass"
    assert "hush" not in page(record).text_content()


def kept_run(values: list[Any]) -> Record:
    judgement = Judgement(False, "max 5", "9 is above the maximum 5 by 4", None, 5, -4.0)
    kept = Kept(values, [0.1 * at for at in range(len(values))], 2, len(values))
    return run_of(Reading(Where("1"), 0.4, "value", 3, "°C", judgement=judgement, kept=kept), verdict="fail")


def test_samples_are_drawn_where_they_were_kept() -> None:
    [figure] = page(kept_run([1, 2, 9, 3])).xpath("//section[h2='Samples']/figure")
    assert figure.xpath(".//*[name()='svg']")
    said = figure.xpath("figcaption")[0].text_content()
    assert "4 samples on record, one in 2 of 8" in said
    assert "limit max 5: fail" in said


def test_samples_that_are_no_numbers_are_listed() -> None:
    root = page(kept_run(["<b>on</b>", "off"]))
    assert not root.xpath("//section[h2='Samples']//*[name()='svg']")
    assert texts(root, "//section[h2='Samples']//li") == ["0.000000 s: <b>on</b>", "0.100000 s: off"]


def test_matplotlib_is_loaded_for_samples_alone() -> None:
    code = (
        "import sys; from tests.record.examples import failed_run; from benchrig.report.files.page import html_page\n"
        "html_page(failed_run()); print({'matplotlib', 'numpy', 'scipy', 'sqlalchemy'} & {*sys.modules})"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[3], check=True
    )
    assert done.stdout == "set()\n"


def test_the_same_record_gives_the_same_page() -> None:
    assert html_page(failed_run()) == html_page(build_record([*FAILED_RUN]))
    assert REPORT.begins in html_page(failed_run())[:1024]


def test_a_plan_that_ships_is_whole_on_it() -> None:
    record = run(PLANS / "smoke.yaml", DEVICES / "logger.yaml").record
    root = page(record)
    judged = sum(reading.judgement is not None for step in record.executions for reading in step.readings)
    assert len(root.xpath("//section[h2='Readings']//tbody/tr[td and not(@class='dim')]")) == judged
    assert len(texts(root, "//section[h2='Plan']//tbody/tr")) == (PLANS / "smoke.yaml").read_text().count("\n") + 1


def test_of_many_the_failed_ones_are_shown_and_the_others_counted() -> None:
    assert bounds.most_telling([*range(10)], 4, lambda each: each in (7, 9)) == [0, 1, 7, 9]
    assert bounds.most_telling([*range(3)], 4, lambda each: False) == [0, 1, 2]
    assert bounds.left_out(1, "step", "x") == "1 step is left out here: x"


@pytest.mark.slow
def test_a_very_long_record_makes_a_page_of_bounded_size() -> None:
    """A hundred thousand steps, one of which failed near the end."""
    count, bad = 100_000, 99_000
    nodes = [PlannedNode(str(n), f"read {n}", "read", f"plan.yaml:{n}") for n in range(1, count + 1)]
    events: list[Any] = [
        replace(run_started(*nodes), plan_text=[PlanSource("plan.yaml", "\n".join(["- read: x"] * count))])
    ]
    for n in range(1, count + 1):
        judgement = Judgement(n != bad, "max 5", "…", None, 5, 2.0, f"plan.yaml:{n}")
        events += [Opened(Where(str(n)), 0.001 * n), Reading(Where(str(n)), 0.001 * n, "value", 3, "°C", "0300", judgement=judgement),
                   Closed(Where(str(n)), 0.001 * n, 0.0005, "pass" if n != bad else "fail", None if n != bad else "limit")]  # fmt: skip
    events.append(RunEnded(101.0, "fail", 1, count, "limit", Where(str(bad))))
    data = html_page(build_record(events))
    assert len(data) < 4_000_000
    text = html.document_fromstring(data.decode()).text_content()
    assert f"{bad} read {bad}" in text
    for said in ("98000 readings are left out here", "99500 steps are left out here", "97000 lines are left out here"):
        assert said in text


def evil_run(name: str) -> Record:
    """A run in which every text from outside is this one, with samples of both kinds."""
    place = f"{name}:1"
    judgement = Judgement(False, name, name, 1, 5, -4.0, place, stated_low=0, stated_high=6, guard=name)
    words = Judgement(False, name, name, place=place)
    where, kept = Where("1"), Kept([1, 9, 2], [0.1, 0.2, 0.3])
    nodes = [PlannedNode("1", name, "read", place, does=name), PlannedNode("2", name, "read", place)]
    start = replace(
        run_started(*nodes), plan=name, plan_file=name, station=name, radio=name, revision=name, caution=name,
        given={name: name}, fixture=Fixture(name, name), line=LinePart(*[name] * 5, reference=name, first=name), plan_text=[PlanSource(name, f"{name}\n{name}", 3)],
        simulated=True, left_out=3,
    )  # fmt: skip
    return build_record([
        start, DeviceSeen(0.1, name, name, name, name, firmware=name, hardware=name), Noted(0.1, name), Opened(where, 0.1),
        Noted(0.1, name, where, sent="0102"), AttemptFailed(where, 0.2, "link", name),
        Reading(Where("1", attempt=2), 0.3, name, 9, name, "09", judgement=judgement, kept=kept),
        Reading(Where("1", attempt=2), 0.3, "words", name, judgement=words, kept=Kept([name, name], [0.1, 0.2])),
        Closed(where, 0.4, 0.3, "fail", "limit", name, name, 2),
        Closed(Where("2"), 0.4, 0.0, "skip", message=name, root=where),
        RunEnded(0.5, "fail", 1, 2, "limit", where, name, name),
    ])  # fmt: skip


def test_names_that_are_markup_stay_text() -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;\x1b[31m"
    root = page(evil_run(evil))
    assert not root.xpath("//script | //img | //@onerror")
    assert "\x1b" not in root.text_content()
    assert evil.replace("\x1b", "\\x1b") in root.text_content()


def test_a_page_that_cannot_be_made_changes_no_verdict(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(record: Record) -> bytes:
        raise RuntimeError("no room")

    monkeypatch.setattr("benchrig.report.page.whole.page", broken)
    bench = files(tmp_path, "  - read: temperature\n    expect: {value: {min: 0 °C}}\n")
    done = here("run", "plan.yaml", "--radio", bench.radio, cwd=tmp_path)
    assert done.returncode == 0
    assert done.stderr == "benchrig: report.html was not made: RuntimeError: no room\n"
    [folder] = (path.parent for path in tmp_path.glob("results/*/record.jsonl"))
    assert {path.name for path in folder.iterdir()} == RUN_FILES - {"report.html"}
