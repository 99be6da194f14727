"""What goes wrong at a line: nobody is judged by it, nothing is lost."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.launch import PreparedRun
from benchrig.line.events import CleanedUp, ClockBack, LineCleared, ReferenceChecked, RunBegan, ToldStation, UnitBegan
from benchrig.line.journal import NAME, LineJournal, read_line
from benchrig.line.line import Line, LineOptions
from tests.line.floor_kit import Shop, here, slot, until
from tests.line.units import Unit, plan_text, put_file

__all__ = ["here"]

A, B = "VFL3-000042", "VFL3-000043"
OWN = {"1": "left", "2": "right"}
LONG = plan_text(scan="100 s")


def events(shop: Shop, kind: type) -> list:
    return [event for event in read_line(shop.results / NAME).events if isinstance(event, kind)]


# --- the unit and the radio


def test_a_unit_that_is_pulled_out_in_mid_run_fails_by_link(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=plan_text() + "  - connect:\n  - wait: 1000 s\n")

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).done >= 6)
        put_file(here, "1", None)
        assert line.work.bench is not None
        line.work.bench.poll()  # it looks by itself as well, in real time

    view = shop.worked(work)
    assert (slot(view).word, shop.record(A).cause) == ("FAIL", "link")


def test_an_adapter_that_is_unplugged_is_a_fault_of_the_station(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=LONG)

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).state == "running")
        bench = line.work.bench
        assert bench is not None
        bench.unplug("")
        await until(line, lambda view: slot(view).state == "ended")
        bench.plug_in("")

    view = shop.worked(work)
    assert (slot(view).word, shop.record(A).cause, view.counts.judged) == ("STOP", "station", 0)


def test_two_units_in_one_slot_are_not_judged_by_each_other(here: Path) -> None:
    both = "devices:\n" + "".join(f"  - {_indented(unit)}" for unit in (Unit(42, battery=20), Unit(43)))
    shop = Shop(here, units={"1": both})
    shop.shift(A)
    assert shop.words[0][1] in ("FAIL", "STOP")


def _indented(unit: Unit) -> str:
    return unit.text.replace("\n", "\n    ").rstrip() + "\n"


# --- the disk, the history, the clock


def test_a_verdict_that_cannot_be_kept_is_none(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    write, full = LineJournal.write, []

    def no_room(journal: LineJournal, *events: object) -> None:
        if full or type(events[0]).__name__ == "UnitEnded":
            full.append(1)
            raise StationError("line.jsonl cannot be written: no space", advice="make room")
        write(journal, *events)  # type: ignore[arg-type]

    monkeypatch.setattr(LineJournal, "write", no_room)
    view = shop.shift(A)
    assert (slot(view).word, view.counts.judged, shop.line.exit_code) == ("STOP", 0, 7)


def test_a_line_goes_on_when_there_is_room_again(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    write, times = LineJournal.write, []

    def once(journal: LineJournal, *events: object) -> None:
        if type(events[0]).__name__ == "UnitEnded" and not times:
            times.append(1)
            raise StationError("line.jsonl cannot be written: no space", advice="make room")
        write(journal, *events)  # type: ignore[arg-type]

    monkeypatch.setattr(LineJournal, "write", once)

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: view.state == "stopped")
        await line.read("CLEAR")
        await line.read(A)
        await until(line, lambda view: slot(view).word == "PASS")

    shop.worked(work)
    assert shop.words == [(A, "STOP"), (A, "PASS")]
    assert events(shop, LineCleared)[0].person == "K. Lund"


def test_a_record_that_is_gone_is_no_pass(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=plan_text() + "  - wait: 2 s\n")

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).done >= 5)
        next(shop.results.glob("*/record.jsonl")).unlink()

    view = shop.worked(work)
    assert (slot(view).word, view.counts.judged) == ("STOP", 0)


def test_a_history_that_is_away_changes_nothing_but_is_told(here: Path) -> None:
    (here / "away").write_text("no folder")
    shop = Shop(here, units={"1": Unit(42)}, more="history: away/history.sqlite\n")
    view = shop.shift(A)
    assert slot(view).word == "PASS"
    assert any("1 run not yet in the history" in note for note in view.notes)


def test_a_clock_that_is_set_back_is_on_record(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    shop.shift(A)
    shop.now = lambda: datetime.now(UTC) - timedelta(hours=3)
    shop.shift()
    assert events(shop, ClockBack)


# --- power cuts


def cut(shop: Shop) -> None:
    """A power cut while the unit is tested: the journal ends there."""

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).state == "running")
        raise _PowerCut

    with pytest.raises(_PowerCut):
        shop.worked(work)
    file = shop.results / NAME
    lines = file.read_bytes().splitlines(keepends=True)
    at = max(index for index, line in enumerate(lines) if b'"event":"run"' in line)
    file.write_bytes(b"".join(lines[: at + 1]))


class _PowerCut(Exception):
    pass


FINALLY = plan_text().replace("  - disconnect:\n", "") + "finally:\n  - read: battery level\n    name: the clean-up\n"


@pytest.mark.parametrize(("answer", "ok"), [("yes", True), ("no", False)])
def test_the_clean_up_of_a_unit_that_was_cut_off_is_offered_first(here: Path, answer: str, ok: bool) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=FINALLY)
    cut(shop)

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: view.asked is not None)
        assert view.asked is not None
        assert A in view.asked.text
        await line.read(answer)
        await until(line, lambda view: slot(view).word == "PASS")

    view = shop.worked(work)
    assert [event.ok for event in events(shop, CleanedUp)] == [ok]
    assert (view.counts.judged, view.counts.passed_first) == (1, 1)


# --- programs that are told


@pytest.mark.parametrize(("program", "ok"), [("true", True), ("false", False), ("no-such-program", False)])
def test_the_program_after_a_unit_changes_no_verdict(here: Path, program: str, ok: bool) -> None:
    shop = Shop(
        here, units={"1": Unit(42)}, more=f"after_unit: {{command: ['{program}', '{{verdict}}', '{{serial}}']}}\n"
    )
    view = shop.shift(A)
    assert slot(view).word == "PASS"
    assert [event.ok for event in events(shop, ToldStation)] == [ok]
    assert bool(view.notes) is not ok


# --- benchrig itself


def test_a_bug_stops_the_line_with_one_sentence(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def bug(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("benchrig.line.passage.ending", bug)
    shop = Shop(here, units={"1": Unit(42)})
    view = shop.shift(A)
    assert (slot(view).word, shop.line.exit_code, shop.words) == ("STOP", 3, [(A, "STOP")])
    assert "ZeroDivisionError" in (shop.results / "line-errors.txt").read_text()


def test_a_unit_in_another_slot_ends_in_order_after_a_bug(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)})

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).state == "running")
        line.stray("an error")
        await asyncio.sleep(0)

    view = shop.worked(work)
    assert (slot(view).word, shop.line.exit_code) == ("STOP", 3)
    assert shop.record(A).ended is not None


def test_nobody_answers_a_question_in_time(here: Path) -> None:
    asks = plan_text() + "  - ask: is the lamp green\n    within: 300 ms\n    expect: {answer: {equals: true}}\n"
    shop = Shop(here, units={"1": Unit(42)}, plan=asks)

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).state == "ended")

    assert (slot(shop.worked(work)).word, shop.record(A).cause) == ("STOP", "operator")


WRITES = (
    plan_text()
    .replace("device:\n", "caution: keep away from the siren\ndevice:\n", 1)
    .replace("  - disconnect:", "  - write: battery level\n    value: 60 %\n    on_fail: continue\n  - disconnect:")
)


def test_a_caution_is_read_once_a_shift(here: Path) -> None:
    options = LineOptions(person="K. Lund", reports=())
    shop = Shop(here, units={"1": Unit(42)}, plan=WRITES, options=options)

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: view.asked is not None)
        assert "siren" in view.asked.text  # type: ignore[union-attr]
        await line.read("yes")
        await until(line, lambda view: slot(view).state == "ended")
        put_file(here, "1", Unit(43))
        await line.read(B)
        await until(line, lambda view: slot(view).serial == B and slot(view).state == "ended")

    shop.worked(work)
    assert len(shop.words) == 2
    assert len(shop.state.cautions) == 1


def test_the_journal_says_all_of_a_unit_in_order(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    shop.shift(A)
    (began,), (run,) = events(shop, UnitBegan), events(shop, RunBegan)
    assert began.key == run.key
    assert Path(run.folder) / "record.jsonl" == next(Path("results-rehearsal").glob("*/record.jsonl"))


def test_the_clean_up_of_a_reference_is_no_check_of_the_station(here: Path) -> None:
    more = "references:\n  golden:\n    label: VFL3-000042\n    slots: any\n"
    shop = Shop(here, units={"1": Unit(42)}, plan=FINALLY, more=more)
    cut(shop)
    view = shop.shift("yes")
    assert ([event.ok for event in events(shop, CleanedUp)], events(shop, ReferenceChecked)) == ([True], [])
    assert view.notes == ()


def test_answers_may_be_typed_ahead_of_the_question(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=FINALLY)
    cut(shop)
    view = shop.shift("yes", A)
    assert ([event.ok for event in events(shop, CleanedUp)], slot(view).word) == ([True], "PASS")


def test_a_shift_that_was_cut_off_waits_for_somebody(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    cut(shop)
    shop.options = LineOptions(reports=())

    async def work(line: Line) -> None:
        await line.read(A)
        view = await until(line, lambda view: view.waiting == (A,))
        assert (view.state, view.person) == ("person", "")

    shop.worked(work)
    assert shop.words == []


def test_a_product_that_the_changed_station_file_lacks_is_refused(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})

    async def work(line: Line) -> None:
        shop.barcode = "(?P<serial>OTHER-.*)"
        shop.write()
        await line.read(A)
        await until(line, lambda view: view.asked is not None)
        await line.read("yes")
        await until(line, lambda view: "no product" in view.message)

    shop.worked(work)
    assert not shop.words


def test_errors_of_the_station_in_a_row_stop_the_line(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})

    async def work(line: Line) -> None:
        await until(line, lambda view: view.person != "")
        assert line.work.bench is not None
        line.work.bench.unplug("")
        for label in (A, B, "VFL3-000044", "VFL3-000045"):
            await line.read(label)
        view = await until(line, lambda view: view.state == "stopped")
        assert "3 errors of the station" in view.message

    view = shop.worked(work)
    assert (shop.words, view.waiting) == ([(A, "STOP"), (B, "STOP"), ("VFL3-000044", "STOP")], ("VFL3-000045",))
    assert shop.line.exit_code == 7


def test_an_adapter_that_is_unplugged_leaves_other_slots_alone(here: Path) -> None:
    shop = Shop(here, OWN, {"1": Unit(42), "2": Unit(43)}, plan=plan_text(scan="20 s"))

    async def work(line: Line) -> None:
        await line.read(A)
        await line.read(B)
        await until(line, lambda view: all(each.state == "running" for each in view.slots))
        assert line.work.bench is not None
        line.work.bench.unplug("left")
        await until(line, lambda view: all(each.state == "ended" for each in view.slots))
        line.work.bench.plug_in("left")

    shop.worked(work)
    assert dict(shop.words) == {A: "STOP", B: "PASS"}


def test_the_program_is_told_of_the_unit_that_is_taken_out(here: Path) -> None:
    """Where slots share a radio nobody else knows which one it is."""
    shop = Shop(here, ("1", "2"), {"1": Unit(42)}, more="after_unit: {command: ['true', '{verdict}']}\n")

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).release)
        assert not events(shop, ToldStation)
        await line.read(A)
        await until(line, lambda view: slot(view).word == "PASS")

    shop.worked(work)
    assert len(events(shop, ToldStation)) == 1


def test_a_program_is_told_what_the_screen_shows(here: Path) -> None:
    more = "after_unit: {command: [cp, plan.yaml, 'told-{verdict}-{slot}']}\n"
    shop = Shop(here, ("1", "2"), {"1": Unit(77), "2": Unit(42)}, more=more)

    async def work(line: Line) -> None:
        for text in ("SLOT 1", A, "SLOT 2", A):  # two units with one label
            await line.read(text)
        await until(line, lambda view: slot(view).release)
        await line.read(A)
        await until(line, lambda view: slot(view).word == "STOP")

    shop.worked(work)
    assert [file.name for file in here.glob("told-*")] == ["told-STOP-1"]


def test_a_check_of_the_station_that_is_over_its_time_locks_the_line(here: Path) -> None:
    more = "references:\n  golden:\n    label: VFL3-000042\n    slots: any\n    every: 1 h\n"
    shop, late = Shop(here, units={"1": Unit(42)}, more=more), []
    shop.now = lambda: datetime.now(UTC) + timedelta(hours=2 * len(late))

    async def work(line: Line) -> None:
        await line.read(A)
        await until(line, lambda view: slot(view).word == "PASS" and view.state == "ready")
        late.append(1)
        await line.read(B)
        view = await until(line, lambda view: view.state == "locked")
        assert "golden" in view.message
        await line.read(A)
        await until(line, lambda view: view.state == "ready")

    shop.worked(work)
    assert shop.words[:2] == [(A, "PASS"), (A, "PASS")]


BY_HAND = plan_text().replace(
    "  - disconnect:\n", "  - read: battery level\n    name: look\n    save: {value: before}\n"
) + ("finally:\n  - call: put_back:now\n    name: put back\n    with: {level: '${before}'}\n")


def test_what_the_cut_run_had_saved_is_to_be_put_back_by_hand(here: Path) -> None:
    (here / "put_back.py").write_text("def now(bench, level):\n    return {}\n")
    shop = Shop(here, units={"1": Unit(42)}, plan=BY_HAND)
    cut(shop)
    view = shop.shift("yes")
    assert any("put back by hand" in note and "put back" in note for note in view.notes)
    assert [(event.ok, event.message) for event in events(shop, CleanedUp)] == [(False, "to be put back by hand")]


def test_the_next_unit_has_the_link_while_reports_are_made(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop, free = Shop(here, units={"1": Unit(42)}), list[bool]()
    reported = PreparedRun.reported

    def looking(run: PreparedRun) -> object:
        shared = shop.line.work.radios._of("1")
        free.append(not shared.place.locked())
        return reported(run)

    monkeypatch.setattr(PreparedRun, "reported", looking)
    shop.shift(A)
    assert free == [True]


def test_a_label_that_is_scanned_while_nothing_can_be_written_is_not_lost(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    away = here / "away"

    async def work(line: Line) -> None:
        shop.results.rename(away)
        await line.read(A)
        stopped = await until(line, lambda view: view.state == "stopped")
        assert (stopped.waiting, "was moved or removed" in stopped.message) == ((A,), True)
        away.rename(shop.results)
        await line.read("CLEAR")

    view = shop.worked(work)
    assert (shop.words, view.waiting, shop.line.exit_code) == ([(A, "PASS")], (), 0)


def test_a_shift_can_be_ended_where_nothing_can_be_written(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})

    async def work(line: Line) -> None:
        shop.results.rename(here / "away")
        await line.read(A)
        await line.read("END")
        await until(line, lambda view: view.state == "ended")

    view = shop.worked(work)
    assert shop.line.exit_code == 7
    assert "1 scanned and not tested; the file results-rehearsal/line.jsonl was moved or removed" in view.message


SECRET = plan_text().replace("given:\n", "given:\n  key: {secret: true}\n") + (
    "  - connect:\n  - write: battery level\n    name: the key\n    raw: '${key}'\n"
)


def test_a_part_of_a_label_that_the_plan_keeps_secret_is_nowhere(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)}, plan=SECRET, barcode=r"(?P<serial>VFL3-\d{6}) (?P<key>[A-F0-9]{6})", more=(
        "after_unit: {command: [sh, -c, 'echo \"$@\" > told.txt', x, '{serial}', '{record}', '{step}', '{product}']}\n"
    ))  # fmt: skip
    view = shop.shift(f"{A} C0FFEE", f"{A} c0ffee", f"{A} C0FFEE")
    begun = next(event for event in read_line(shop.results / NAME).events if isinstance(event, UnitBegan))
    assert (begun.barcode, begun.unit, len(shop.words)) == (f"{A} ********", A, 1)
    assert "c0ffee" not in repr(view).lower()
    kept = [path for path in here.rglob("*") if path.is_file() and path.name != "line.yaml"]
    assert len(kept) > 6
    assert not [path for path in kept if b"c0ffee" in path.read_bytes().lower()]


def test_a_changed_station_file_that_cannot_be_noted_is_no_bug(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(here, units={"1": Unit(42)}, options=LineOptions(acknowledge=True, reports=()))

    async def work(line: Line) -> None:
        await line.read("K. Lund")
        shop.write("takt: 20 s\n")
        await line.read(A)
        await until(line, lambda view: view.state == "question")
        shop.results.rename(here / "away")
        await line.read("no")
        await until(line, lambda view: view.state == "stopped")
        await line.read("END")

    view = shop.worked(work)
    assert (shop.line.exit_code, "bug" in view.message) == (7, False)


def test_a_broken_file_of_approvals_is_refused_in_one_line(here: Path) -> None:
    shop = Shop(here, units={"1": Unit(42)})
    (here / "line.approvals.yaml").write_text("- [:\n")
    shop.shift(A)
    assert shop.words == []
    assert shop.refused.endswith("line.approvals.yaml:1:4: not valid YAML: did not find expected node content")
