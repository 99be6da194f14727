"""btsnoop files of each kind, cut off anywhere, and files that are none."""

from __future__ import annotations

import contextlib
import shutil
import struct
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.captures.btsnoop import H4, HCI, MONITOR, read_capture
from benchrig.captures.hci import Heard, Pdu, traffic_of
from benchrig.errors import UsageError
from tests.run.kit import DEVICES, PLANS, run

_RECORD = struct.Struct(">IIIIq")


@pytest.fixture(scope="module")
def captured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("capture") / "run.btsnoop"
    run(PLANS / "smoke.yaml", DEVICES / "logger.yaml", capture=path)
    return path


def records(data: bytes) -> list[tuple[int, int, bytes]]:
    """Flags, time and octets of each packet."""
    found, at = [], 16
    while at < len(data):
        _, length, flags, _, time = _RECORD.unpack_from(data, at)
        found.append((flags, time, data[at + 24 : at + 24 + length]))
        at += 24 + length
    return found


def file_of(link: int, packets: list[tuple[int, int, bytes]]) -> bytes:
    head = b"btsnoop\0" + struct.pack(">II", 1, link)
    return head + b"".join(_RECORD.pack(len(o), len(o), flags, 0, time) + o for flags, time, o in packets)


def as_hci(data: bytes) -> bytes:
    """With data link 1001: the kind of packet is in the flags."""
    return file_of(HCI, [(flags, time, octets[1:]) for flags, time, octets in records(data)])


def as_monitor(data: bytes) -> bytes:
    """With data link 2001, as btmon writes it: kind and adapter are in the flags. Another adapter has something to say."""
    opcodes = {(1, 0): 2, (4, 1): 3, (2, 0): 4, (2, 1): 5}
    packets = [(1 << 16 | opcodes[octets[0], flags & 1], time, octets[1:]) for flags, time, octets in records(data)]
    begins = packets[0][1]
    return file_of(MONITOR, [(0, begins, b"a new index"), (3, begins, bytes([0x0E, 1, 0])), *packets])


@pytest.mark.parametrize("change", [as_hci, as_monitor])
def test_each_kind_tells_the_same(captured: Path, tmp_path: Path, change: object) -> None:
    data = captured.read_bytes()
    other = tmp_path / "other.btsnoop"
    other.write_bytes(change(data))  # type: ignore[operator]
    assert struct.unpack_from(">I", data, 12) == (H4,)
    ours, theirs = (traffic_of(read_capture(path).packets).events for path in (captured, other))
    assert len(ours) > 40
    assert theirs == ours


def test_a_file_that_is_cut_off_is_read_up_to_there(captured: Path, tmp_path: Path) -> None:
    data = captured.read_bytes()
    whole = read_capture(captured).packets
    cut = tmp_path / "cut.btsnoop"
    ends = [16]
    for _, _, octets in records(data):
        ends.append(ends[-1] + 24 + len(octets))
    for size in (17, ends[5] - 1, ends[5], ends[5] + 1, ends[5] + 24, len(data) - 1):
        cut.write_bytes(data[:size])
        count = sum(end <= size for end in ends) - 1
        read = read_capture(cut)
        assert read.packets == whole[:count]
        assert read.cut_off == (None if size in ends else ends[count])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "offset 0: expected 'btsnoop', found nothing"),
        (b"\x0a\x0d\x0d\x0a rest", "offset 0: expected 'btsnoop', found 0A 0D 0D 0A"),
        (b"btsnoop\0\0\0\0\1", "offset 12: expected a head of 16 bytes"),
        (b"btsnoop\0" + struct.pack(">II", 2, 1002), "offset 8: expected version 1, found 2"),
        (b"btsnoop\0" + struct.pack(">II", 1, 1003), "offset 12: expected data link 1001, 1002 or 2001, found 1003"),
        (
            file_of(H4, [(0, 0, b"\1")]) + b"\xff" * 24,
            "offset 41: expected a packet of at most 65540 bytes, found 4294967295",
        ),
    ],
)
def test_a_file_that_is_none(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "none.btsnoop"
    path.write_bytes(data)
    with pytest.raises(UsageError) as caught:
        read_capture(path)
    assert said in caught.value.message


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_capture(tmp_path / "none")


@given(st.binary(max_size=400), st.sampled_from([HCI, H4, MONITOR]))
def test_garbage_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, data: bytes, link: int) -> None:
    path = tmp_path_factory.getbasetemp() / "garbage.btsnoop"
    path.write_bytes(b"btsnoop\0" + struct.pack(">II", 1, link) + data)
    with contextlib.suppress(UsageError):
        assert traffic_of(read_capture(path).packets).malformed >= 0


def test_packets_that_were_shortened_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "short.btsnoop"
    head = b"btsnoop\0" + struct.pack(">II", 1, H4)
    path.write_bytes(head + _RECORD.pack(9, 2, 3, 0, 0) + b"\4\5" + _RECORD.pack(3, 3, 3, 0, 0) + b"\4\5\0")
    read = read_capture(path)
    assert (len(read.packets), read.shortened, read.cut_off) == (1, 1, None)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")
def test_tshark_finds_the_same_pdus_and_reports(captured: Path) -> None:
    events = traffic_of(read_capture(captured).packets).events
    command = ["tshark", "-r", str(captured), "-Y", "btl2cap.cid == 4", "-T", "fields", "-e", "frame.time_relative"]
    lines = subprocess.run([*command, "-e", "btatt.opcode"], capture_output=True, text=True, check=True).stdout.split()
    pdus = [each for each in events if isinstance(each, Pdu) and each.channel == 4]
    assert [int(code, 16) for code in lines[1::2]] == [each.octets[0] for each in pdus]
    assert [float(time) for time in lines[::2]] == pytest.approx([each.at for each in pdus], abs=1e-6)
    command = ["tshark", "-r", str(captured), "-Y", "bthci_evt.le_meta_subevent == 0x02"]
    reports = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    assert len(reports) == sum(isinstance(each, Heard) for each in events) > 10


def test_one_that_is_too_large_is_not_begun(captured: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchrig.captures.btsnoop.MOST_BYTES", captured.stat().st_size - 1)
    with pytest.raises(UsageError, match=r"run\.btsnoop has 0 MiB, more than 0 MiB"):
        read_capture(captured)
