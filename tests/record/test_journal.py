"""The record on disk."""

from __future__ import annotations

import json
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.errors import StationError, UsageError
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, Closed, RunStarted, Where
from benchrig.record.journal import Journal, read_record
from benchrig.record.model import Record
from benchrig.values.value import Word
from tests.record.examples import FAILED_RUN, opened, reading, run_started
from tests.record.strategies import device_text, events, few, records
from tests.scratch import scratch


def written(events: list[AnyEvent], path: Path) -> Path:
    with Journal(path) as journal:
        for event in events:
            journal.write(event)
    return path


def read_bytes(data: bytes, path: Path) -> Record:
    path.write_bytes(data)
    return read_record(path)


@few
@given(events())
def test_what_is_written_is_read(run: list[AnyEvent]) -> None:
    with scratch() as folder:
        assert read_record(written(run, folder / "record.jsonl")) == build_record(run)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_keeps_its_value(value: float) -> None:
    with scratch() as folder:
        record = read_record(written([run_started(), opened(), reading(value)], folder / "record.jsonl"))
    assert repr(record.steps[0].readings[0].value) == repr(value)


def test_an_integer_of_128_bits_keeps_its_value(tmp_path: Path) -> None:
    record = read_record(written([run_started(), opened(), reading(2**128 - 1)], tmp_path / "r"))
    assert record.steps[0].readings[0].value == 2**128 - 1


@pytest.mark.parametrize("stride", [7, pytest.param(1, marks=pytest.mark.slow)])
def test_a_cut_at_any_byte_still_reads(tmp_path: Path, stride: int) -> None:
    data = written(FAILED_RUN, tmp_path / "whole").read_bytes()
    first_line = data.index(b"\n") + 1
    for end in range(first_line, len(data) - 1, stride):
        assert read_bytes(data[:end], tmp_path / "cut").cut_off
    assert not read_bytes(data[:-1], tmp_path / "cut").cut_off


def test_a_cut_takes_only_the_line_it_is_in(tmp_path: Path) -> None:
    data = written([run_started(), opened(), reading(1), reading(2)], tmp_path / "whole").read_bytes()
    record = read_bytes(data[:-10], tmp_path / "cut")
    assert [r.value for r in record.steps[0].readings] == [1]


@pytest.mark.parametrize("end", [0, 1, 40])
def test_a_cut_in_the_first_line_is_named(tmp_path: Path, end: int) -> None:
    data = written(FAILED_RUN, tmp_path / "whole").read_bytes()
    with pytest.raises(UsageError, match=r"first line|cut:1: "):
        read_bytes(data[:end], tmp_path / "cut")


def test_zeros_that_a_power_cut_leaves_at_the_end_are_a_cut(tmp_path: Path) -> None:
    data = written(FAILED_RUN[:3], tmp_path / "whole").read_bytes()
    assert read_bytes(data + bytes(512), tmp_path / "cut").cut_off


def test_an_event_of_a_later_kind_is_skipped(tmp_path: Path) -> None:
    data = written(FAILED_RUN, tmp_path / "whole").read_bytes().splitlines(keepends=True)
    data.insert(2, b'{"event":"photo","step":99}\n')
    assert read_bytes(b"".join(data), tmp_path / "later") == build_record(FAILED_RUN)


def test_a_field_of_a_later_version_is_skipped(tmp_path: Path) -> None:
    line = written([run_started()], tmp_path / "whole").read_bytes()
    later = json.dumps(json.loads(line) | {"weather": "rain"}).encode() + b"\n"
    assert read_bytes(later, tmp_path / "later") == build_record([run_started()])


def test_a_newer_format_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"newer:1: written in format 6; .* up to format 5"):
        read_bytes(b'{"event":"run","format":6,"other":"fields"}\n', tmp_path / "newer")


@pytest.mark.parametrize("text", ["hello\n", "{}\n", "[1]\n", '{"event":"photo"}\n', '{"event":"run"}\n', "\0\xff\n"])
def test_a_file_that_is_no_record_is_refused_with_its_line(tmp_path: Path, text: str) -> None:
    with pytest.raises(UsageError, match="other:1: "):
        read_bytes(text.encode("latin-1"), tmp_path / "other")


@pytest.mark.parametrize(
    "bad", [b"\n", b"{\n", b'{"event":"opened"}\n', b'{"event":"opened","where":{"node":"9"},"at":0.1}\n']
)
def test_a_bad_line_inside_is_refused_with_its_number(tmp_path: Path, bad: bytes) -> None:
    lines = written(FAILED_RUN, tmp_path / "whole").read_bytes().splitlines(keepends=True)
    lines.insert(3, bad)
    with pytest.raises(UsageError, match="bad:4: "):
        read_bytes(b"".join(lines), tmp_path / "bad")


@pytest.mark.parametrize("name", ["absent", "."])
def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_record(tmp_path / name)


def test_each_event_is_on_disk_before_the_next(tmp_path: Path) -> None:
    with Journal(tmp_path / "r") as journal:
        for count, event in enumerate(FAILED_RUN, start=1):
            journal.write(event)
            assert (tmp_path / "r").read_bytes().count(b"\n") == count


def test_a_record_is_never_written_over(tmp_path: Path) -> None:
    written([run_started()], tmp_path / "r")
    with pytest.raises(StationError, match="File exists"):
        Journal(tmp_path / "r")


@pytest.fixture
def room() -> Iterator[Callable[[int], None]]:
    """Sets how large a file may grow, as a disk that runs full does."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    yield lambda size: resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_is_the_fault_of_the_station(tmp_path: Path, room: Callable[[int], None]) -> None:
    with Journal(tmp_path / "r") as journal:
        room(100)
        with pytest.raises(StationError, match="File too large"):
            journal.write(run_started())


def test_a_line_that_had_no_room_spoils_no_other(tmp_path: Path, room: Callable[[int], None]) -> None:
    with Journal(tmp_path / "r") as journal:
        journal.write(run_started())
        journal.write(opened())
        room((tmp_path / "r").stat().st_size + 100)
        with pytest.raises(StationError):
            journal.write(reading("x" * 1000))
        journal.write(Closed(Where("1"), 1.0, 1.0, "pass"))
    record = read_record(tmp_path / "r")
    assert record.steps[0].readings == []
    assert record.steps[0].ended is not None


def test_words_are_text(tmp_path: Path) -> None:
    record = read_record(written([run_started(), opened(), reading(Word("not known"))], tmp_path / "r"))
    assert record.steps[0].readings[0].value == "not known"


def test_half_a_surrogate_pair_is_shown_as_an_escape(tmp_path: Path) -> None:
    record = read_record(written([run_started(), opened(), reading(["\ud83d"])], tmp_path / "r"))
    assert record.steps[0].readings[0].value == ["\\ud83d"]


@given(device_text())
def test_text_of_the_device_stays_on_its_line(text: str) -> None:
    with scratch() as folder:
        path = written([run_started(), opened(), reading(text)], folder / "r")
        assert len(path.read_bytes().split(b"\n")) == 4
        assert read_record(path).steps[0].readings[0].value == text


@few
@given(records())
def test_a_record_says_itself_whether_it_was_cut_off(record: Record) -> None:
    assert record.cut_off == (record.ended is None)


def test_the_first_line_is_the_run(tmp_path: Path) -> None:
    line = written(FAILED_RUN, tmp_path / "r").read_bytes().split(b"\n")[0]
    assert json.loads(line)["event"] == "run"


def test_kinds_are_told_by_name(tmp_path: Path) -> None:
    data = written([run_started(), opened(), Closed(Where("1"), 1.0, 1.0, "pass")], tmp_path / "r").read_text()
    assert [json.loads(line)["event"] for line in data.splitlines()] == ["run", "opened", "closed"]
    assert isinstance(read_record(tmp_path / "r").run, RunStarted)


def test_many_lines_leave_nothing_in_memory(tmp_path: Path) -> None:
    """A soak writes millions."""
    with Journal(tmp_path / "record.jsonl") as journal:
        journal.write(opened())
        tracemalloc.start()
        try:
            before = tracemalloc.get_traced_memory()[0]
            for _ in range(1000):
                journal.write(opened())
            assert tracemalloc.get_traced_memory()[0] - before < 10_000
        finally:
            tracemalloc.stop()
