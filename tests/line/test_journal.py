"""The file of a line: what is in it after any death, and who may write it."""

from __future__ import annotations

import os
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.errors import StationError
from benchrig.line.events import AnyLineEvent, Scanned, TornLine
from benchrig.line.journal import NAME, Kept, LineJournal, kept_in, read_line
from benchrig.line.shift import folded
from tests.line.events import at, done, histories, lines, shift

EVENTS = [shift(), *done("1"), *done("2", "FAIL", step="read")]


def opened(folder: Path, *, simulated: bool = False):
    return LineJournal.opened(folder / NAME, at(9), simulated=simulated)


def put(folder: Path, data: bytes) -> Path:
    (folder / NAME).write_bytes(data)
    return folder / NAME


def test_what_is_written_is_read_back(tmp_path):
    with opened(tmp_path / "results") as (journal, kept):
        assert kept == Kept()
        for event in EVENTS:
            journal.write(event)
    assert read_line(tmp_path / "results" / NAME).events == tuple(EVENTS)


def test_there_is_nothing_where_no_file_is(tmp_path):
    assert read_line(tmp_path / NAME) == Kept()


@given(histories())
@settings(max_examples=30)
def test_any_events_are_read_back(events):
    assert kept_in(lines(events).splitlines(keepends=True)).events == tuple(events)


def test_halves_of_characters_are_escaped(tmp_path):
    with opened(tmp_path) as (journal, _):
        journal.write(Scanned(at=at(), text="a\udcffb"))
    assert read_line(tmp_path / NAME).events == (Scanned(at=at(), text="a\\udcffb"),)


# --- power cuts


def test_a_power_cut_at_any_byte_loses_the_last_event_alone(tmp_path):
    events = EVENTS[:2]
    data = lines(events)
    for cut in range(len(data) + 1):
        path = put(tmp_path, data[:cut])
        whole = data[:cut].count(b"\n") + (data[cut : cut + 1] == b"\n")
        with opened(tmp_path) as (journal, kept):
            assert kept.events == tuple(events[:whole])
            assert not kept.damaged
            journal.write(EVENTS[-1])
        after = read_line(path)
        assert after.events == (*events[:whole], EVENTS[-1])
        assert (after.torn, after.damaged) == (None, ())
        assert path.read_bytes().startswith(data[:cut])


@given(histories(), st.data())
@settings(max_examples=30)
def test_the_state_after_a_cut_is_that_of_the_events_before_it(events, data):
    whole = lines(events)
    cut = data.draw(st.integers(0, len(whole)))
    kept = kept_in(whole[:cut].splitlines(keepends=True))
    assert events[: len(kept.events)] == [*kept.events]
    assert len(kept.events) >= whole[:cut].count(b"\n")
    assert folded(kept.events).counts == folded(events[: len(kept.events)]).counts


def test_a_torn_last_line_is_told_once(tmp_path):
    path = put(tmp_path, lines(EVENTS)[:-5])
    with opened(tmp_path) as (_, kept):
        assert kept.troubles(path) == [f"{path}:7: the last line was cut off, probably by a power cut"]
    with opened(tmp_path) as (_, kept):
        assert kept.troubles(path) == []


def test_blocks_of_zeros_that_a_file_system_leaves_are_a_torn_line(tmp_path):
    put(tmp_path, lines(EVENTS) + bytes(512))
    with opened(tmp_path) as (_, kept):
        assert (kept.events, kept.torn) == (tuple(EVENTS), 8)


# --- damage


@pytest.mark.parametrize(
    "damage", [b"\x00" * 9, b"{}", b'{"event": "unit"}', b"", b'{"event":"torn","line":', b"\xff\xfe", b"[1]"]
)
def test_a_damaged_line_in_the_middle_is_told_and_stays(tmp_path, damage):
    whole = lines(EVENTS).splitlines(keepends=True)
    path = put(tmp_path, b"".join([*whole[:2], damage + b"\n", *whole[2:]]))
    before = path.read_bytes()
    for _ in range(2):
        with opened(tmp_path) as (_, kept):
            assert kept.events == tuple(EVENTS)
            assert kept.troubles(path) == [f"{path}:3: this line is damaged and was left out"]
    assert path.read_bytes() == before


def test_many_damaged_lines_are_told_in_one_sentence(tmp_path):
    path = put(tmp_path, b"junk\n" * 9 + lines(EVENTS))
    assert read_line(path).troubles(path) == [f"{path}: 9 lines are damaged and were left out, the first ones 1, 2, 3"]


def test_a_word_on_a_torn_line_does_not_hide_damage_elsewhere(tmp_path):
    whole = lines([EVENTS[0], TornLine(at=at(), line=1)]).splitlines(keepends=True)
    assert read_line(put(tmp_path, b"junk\n" + b"".join(whole))).damaged == (1,)


def test_kinds_of_a_later_version_are_passed_over(tmp_path):
    kept = read_line(put(tmp_path, b'{"event":"robot","at":"2026-11-27T06:00:00Z"}\n' + lines(EVENTS)))
    assert (kept.events, kept.damaged) == (tuple(EVENTS), ())


def test_a_time_without_a_zone_is_damage(tmp_path):
    assert read_line(put(tmp_path, b'{"event":"stopped","at":"2026-11-27T06:00:00","why":"w"}\n')).damaged == (1,)


# --- who may write


def test_a_second_line_on_one_file_is_refused(tmp_path):
    with (
        opened(tmp_path),
        pytest.raises(StationError, match="another benchrig line has the results in"),
        opened(tmp_path),
    ):
        pass
    with opened(tmp_path) as (journal, _):
        journal.write(EVENTS[0])


@pytest.mark.parametrize("simulated", [False, True])
def test_real_and_simulated_units_are_in_two_files(tmp_path, simulated):
    put(tmp_path, lines([shift(simulated=not simulated)]))
    kinds = ("real", "simulated") if simulated else ("simulated", "real")
    with pytest.raises(StationError, match=f"holds shifts of {kinds[0]} units, and this line tests {kinds[1]} ones"):
        opened(tmp_path, simulated=simulated).__enter__()
    with opened(tmp_path, simulated=not simulated):
        pass


def test_a_file_that_was_moved_away_is_told(tmp_path):
    with opened(tmp_path) as (journal, _):
        (tmp_path / NAME).rename(tmp_path / "away")
        with pytest.raises(StationError, match="was moved or removed"):
            journal.write(EVENTS[0])


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / NAME).mkdir()
    with pytest.raises((StationError, Exception), match="cannot be"):
        opened(tmp_path).__enter__()


@contextmanager
def room(size: int) -> Iterator[None]:
    """No file gets longer than this; a write that does not fit is done as far as it goes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_is_told_and_leaves_whole_lines(tmp_path):
    with opened(tmp_path) as (journal, _):
        journal.write(*EVENTS[:3])
        size = os.path.getsize(tmp_path / NAME)
        with room(size + 10), pytest.raises(StationError, match="cannot be written: File too large"):
            journal.write(EVENTS[3])
        assert os.path.getsize(tmp_path / NAME) == size
        journal.write(EVENTS[4])
    kept = read_line(tmp_path / NAME)
    assert kept.events == (*EVENTS[:3], EVENTS[4])


def test_events_are_on_the_disk_when_write_returns(tmp_path, monkeypatch):
    synced = list[bytes]()
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda file: (real(file), synced.append((tmp_path / NAME).read_bytes())))
    with opened(tmp_path) as (journal, _):
        written: list[AnyLineEvent] = []
        for event in EVENTS:
            journal.write(event)
            written.append(event)
            assert synced[-1] == lines(written)


# One of each kind, as 0.9.0 writes them: they are read for years.
WRITTEN = """
{"event":"shift","at":"2026-11-27T06:00:00Z","shift":"1","person":"P","station":"line 3","station_hash":"ab","simulated":true,"version":"0.9.0"}
{"event":"person","at":"2026-11-27T06:00:00Z","person":"P"}
{"event":"caution","at":"2026-11-27T06:00:00Z","person":"P","plan_hash":"ab","text":"t"}
{"event":"scan","at":"2026-11-27T06:00:00Z","text":"A","kind":"unit"}
{"event":"answer","at":"2026-11-27T06:00:00Z","question":"q","answer":"yes","person":"P","slot":"1","unit":"A"}
{"event":"refused","at":"2026-11-27T06:00:00Z","text":"A","why":"w","slot":"1"}
{"event":"unit","at":"2026-11-27T06:00:00Z","key":"k","unit":"A","slot":"1","product":"p","barcode":"A","serial":"A","purpose":"retest","reference":"g","first":"r","again":1}
{"event":"run","at":"2026-11-27T06:00:00Z","key":"k","folder":"f","plan":"p","plan_hash":"ab","limits_hash":"cd","address":"a","proof":"p"}
{"event":"unit ended","at":"2026-11-27T06:00:00Z","key":"k","word":"FAIL","verdict":"fail","cause":"limit","step":"s","reading":"r","message":"m","run_id":"i","folder":"f","address":"a","proof":"p","seconds":1.5,"takt":2.5}
{"event":"released","at":"2026-11-27T06:00:00Z","key":"k","slot":"1"}
{"event":"withheld","at":"2026-11-27T06:00:00Z","key":"k","slot":"1","why":"w"}
{"event":"cut off","at":"2026-11-27T06:00:00Z","key":"k","message":"m"}
{"event":"cleaned up","at":"2026-11-27T06:00:00Z","key":"k","person":"P","ok":true,"run_id":"i","message":"m"}
{"event":"reference","at":"2026-11-27T06:00:00Z","name":"g","slot":"1","ok":false,"run_id":"i","why":"w"}
{"event":"stopped","at":"2026-11-27T06:00:00Z","why":"w"}
{"event":"cleared","at":"2026-11-27T06:00:00Z","person":"P","why":"w"}
{"event":"file changed","at":"2026-11-27T06:00:00Z","old":"a","new":"b","taken":true,"by":"P"}
{"event":"told","at":"2026-11-27T06:00:00Z","key":"k","ok":false,"message":"m"}
{"event":"clock back","at":"2026-11-27T06:00:00Z","before":"2026-11-27T07:00:00Z"}
{"event":"shift ended","at":"2026-11-27T06:00:00Z","person":"P","why":"w"}
""".strip().encode()


def test_files_of_earlier_versions_are_read():
    whole = kept_in(WRITTEN.splitlines(keepends=True))
    assert (len(whole.events), whole.damaged, whole.torn) == (20, (), None)
    assert lines([*whole.events]).strip() == WRITTEN
