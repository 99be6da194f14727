import os
import shutil
import subprocess
from pathlib import Path

import pytest

from benchrig.errors import StationError, UsageError
from benchrig.radio.specify import RadioChoice, radio_opener
from benchrig.radio.virtual import clock, open_air
from tests.radio.virtual.bench import LOGGER, Bench, models
from tests.radio.virtual.test_air import procedures
from tests.run.kit import DEVICES, PLANS, run


async def record(path):
    bench = Bench()
    bench.air = await open_air(models(LOGGER), seed=1, capture=path)
    bench.stack = bench.air.stack
    await procedures(bench)
    await bench.air.close()


def test_a_capture_repeats_byte_for_byte(tmp_path):
    for name in ("one", "two"):
        clock.run(record(tmp_path / name))
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
    assert (tmp_path / "one").read_bytes().startswith(b"btsnoop\0\0\0\0\1\0\0\x03\xea")


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("tshark"), reason="tshark is not installed")
def test_tshark_reads_the_session(tmp_path):
    clock.run(record(tmp_path / "run.btsnoop"))

    def fields(filter_, *names):
        options = [part for name in names for part in ("-e", name)]
        command = ["tshark", "-r", tmp_path / "run.btsnoop", "-Y", filter_, "-T", "fields", *options]
        return subprocess.run(command, capture_output=True, check=True, text=True).stdout.splitlines()

    assert fields("btatt.opcode==0x1b", "btatt.value") == ["78"]
    assert fields("btatt.opcode==0x12", "btatt.value")[0] == "0200"
    assert fields("_ws.malformed", "frame.number") == []
    assert fields("frame.number==1", "frame.time_epoch")[0].startswith("1767225600.0")


def test_a_capture_that_cannot_be_written(tmp_path):
    with pytest.raises(StationError, match="cannot be written"):
        clock.run(record(tmp_path / "nowhere" / "run.btsnoop"))


def test_a_capture_is_for_its_owner_alone(tmp_path):
    clock.run(record(tmp_path / "run.btsnoop"))
    assert (tmp_path / "run.btsnoop").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("link", [False, True])
def test_a_capture_writes_over_nothing(tmp_path, link):
    plan, name = tmp_path / "plan.yaml", tmp_path / "plan.yaml"
    plan.write_text("a plan")
    if link:
        name = tmp_path / "link"
        name.symlink_to(plan)
    with pytest.raises(StationError, match="already exists"):
        clock.run(record(name))
    with pytest.raises(UsageError, match="already exists"):
        radio_opener(RadioChoice.parse("virtual:x.yaml"), capture=name)
    assert plan.read_text() == "a plan"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a full device")
def test_a_full_disk_ends_the_capture_and_not_the_run():
    plan, device = PLANS / "smoke.yaml", DEVICES / "logger.yaml"
    ran = run(plan, device, capture=Path("/dev/full"))
    assert (ran.ended.verdict, ran.ended.exit_code, ran.stray) == ("pass", 0, [])
    assert any("cannot be written: No space left on device" in note.text for note in ran.record.notes)


def test_the_air_works_in_real_time_too():
    async def short():
        async with Bench() as bench:
            client = await bench.connect()
            return await client.read_gatt_char("2a00")

    assert clock.run(short(), real_time=True) == b"logger"
