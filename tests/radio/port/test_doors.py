"""Where hosts connect: one at a time, on TCP and on a pseudo terminal. External: IPPROTO_TCP, see RFC 793, 896."""

import asyncio
import contextlib
import os
import socket
import stat
import sys
import termios
from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.radio.port.choice import parse_ports
from benchrig.radio.port.opening import open_ports
from benchrig.radio.virtual.air import Air
from tests.radio.running import kept, run_plan, served_air
from tests.radio.unit import PLAN

RESET, RESET_DONE = bytes.fromhex("01030C00"), bytes.fromhex("040E0401030C00")


class Opened:
    """A port and an air."""

    def __init__(self, text, folder):
        self.text, self.folder = text, folder

    async def __aenter__(self):
        self.air = Air(1)
        self.ports = await open_ports(self.air, parse_ports([self.text], []), self.folder)
        self.one = self.ports.ports[0]
        return self

    async def __aexit__(self, *_):
        await self.ports.close()
        self.air.close()

    async def caller(self):
        host, _, number = self.one.door.address.rpartition(":")
        return await asyncio.open_connection(host, int(number))


async def soon(condition):
    async with asyncio.timeout(3):
        while not condition():
            await asyncio.sleep(0.01)


async def answered(reader, writer):
    writer.write(RESET)
    return await asyncio.wait_for(reader.readexactly(7), 3)


async def closed(writer):
    writer.close()
    await asyncio.gather(writer.wait_closed(), return_exceptions=True)


async def test_a_second_host_is_turned_away_and_a_new_one_may_come(tmp_path):
    async with Opened("tcp:127.0.0.1:0", tmp_path) as door:
        first, second = await door.caller(), await door.caller()
        assert await answered(*first) == RESET_DONE
        with pytest.raises((asyncio.IncompleteReadError, ConnectionError)):
            await answered(*second)
        assert await answered(*first) == RESET_DONE
        await closed(first[1])
        await soon(lambda: not door.one.port.has_host)
        third = await door.caller()
        assert await answered(*third) == RESET_DONE
        await closed(second[1])
        await closed(third[1])


async def test_packets_go_out_at_once(tmp_path, monkeypatch):
    options = []
    real = socket.socket.setsockopt
    monkeypatch.setattr(socket.socket, "setsockopt", lambda s, *a: (options.append(a), real(s, *a))[1])
    async with Opened("tcp:127.0.0.1:0", tmp_path) as door:
        options.clear()
        reader, writer = await door.caller()
        await answered(reader, writer)
        await closed(writer)
    assert options.count((socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)) == 2  # at both ends of this process


async def test_an_address_that_is_taken(tmp_path):
    async with Opened("tcp:127.0.0.1:0", tmp_path) as door:
        with pytest.raises(StationError, match="cannot be opened: Address already in use"):
            await open_ports(door.air, parse_ports([f"tcp:{door.one.door.address}"], []), tmp_path)


async def test_a_host_that_goes_leaves_its_link_to_the_supervision_time_out(tmp_path):
    """The unit answers nothing any more; the peer finds out after the time-out, not before."""
    async with served_air(tmp_path, ports=2) as opened:
        unit, central = (one.port.controller for one in opened.ports)
        heard = []
        unit.plug_in(lambda packet: None)
        central.plug_in(heard.append)
        unit.on_packet(bytes.fromhex("01 0A20 01 01"))
        # LE Create Connection: supervision time-out 300 ms
        central.on_packet(bytes.fromhex("01 0D20 19 6000 3000 00 00 0153005E0000 00 1800 2800 0000 1E00 0000 0000"))
        await soon(lambda: central.le_connections)
        unit.unplug()
        loop = asyncio.get_running_loop()
        began = loop.time()
        await soon(lambda: not central.le_connections)
        assert 0.25 < loop.time() - began < 1
        assert heard[-1] == bytes.fromhex("0405040001000 8".replace(" ", ""))  # disconnected, reason 0x08


async def test_a_pty_is_raw_and_its_link_goes(tmp_path):
    link = tmp_path / "dut"
    async with Opened(f"pty:{link}", tmp_path) as door:
        assert stat.S_ISCHR(link.stat().st_mode)
        terminal = os.open(link, os.O_RDWR | os.O_NOCTTY)
        assert not termios.tcgetattr(terminal)[3] & (termios.ECHO | termios.ICANON)
        await soon(lambda: door.one.port.has_host)
        os.write(terminal, RESET)
        os.set_blocking(terminal, False)
        await soon(lambda: door.one.port.spoke.is_set())
        assert os.read(terminal, 100) == RESET_DONE
        os.close(terminal)
        await soon(lambda: not door.one.port.has_host)
        again = os.open(link, os.O_RDWR | os.O_NOCTTY)
        assert not termios.tcgetattr(again)[3] & (termios.ECHO | termios.ICANON)
        await soon(lambda: door.one.port.has_host)
        os.close(again)
    assert not link.is_symlink()


async def test_after_garbage_a_new_host_may_come_to_a_pty(tmp_path):
    link = tmp_path / "dut"
    async with Opened(f"pty:{link}", tmp_path) as door:
        terminal = os.open(link, os.O_RDWR | os.O_NOCTTY)
        await soon(lambda: door.one.port.has_host)
        os.write(terminal, b"boot\r\n")
        await soon(lambda: door.one.port.refused and not door.one.port.has_host)
        assert "invalid HCI: 0x62" in door.one.port.refused.message
        await soon(lambda: link.is_symlink() and os.readlink(link) != "")
        os.close(terminal)
        again = os.open(link, os.O_RDWR | os.O_NOCTTY)
        await soon(lambda: door.one.port.has_host)
        assert door.one.port.gone() is None
        os.close(again)


HOLD = "import sys, asyncio; from tests.radio.port.test_doors import hold; asyncio.run(hold(sys.argv[1]))"


async def hold(path):
    """A run in a process of its own that has the port open until it is killed."""
    async with Opened(f"pty:{path}", Path()):
        print("open", flush=True)
        await asyncio.sleep(60)


@contextlib.asynccontextmanager
async def other_run(path):
    process = await asyncio.create_subprocess_exec(sys.executable, "-c", HOLD, path, stdout=asyncio.subprocess.PIPE)
    try:
        assert await process.stdout.readline() == b"open\n"
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


@pytest.mark.slow
async def test_a_link_that_a_killed_run_left_is_replaced(tmp_path):
    link = tmp_path / "dut"
    async with other_run(link) as process:
        process.kill()
    assert link.is_symlink()
    async with Opened(f"pty:{link}", tmp_path):
        assert link.exists()
    assert [*tmp_path.iterdir()] == []


@pytest.mark.slow
async def test_a_link_of_a_run_that_goes_on_is_not_taken_away(tmp_path):
    link = tmp_path / "dut"
    async with other_run(link) as process:
        leads_to = os.readlink(link)
        with pytest.raises(StationError, match=rf"dut is in use by another run \(process {process.pid}\)"):
            await open_ports(Air(1), parse_ports([f"pty:{link}"], []), tmp_path)
        assert os.readlink(link) == leads_to


@pytest.mark.parametrize("target", ["/dev/null", "/dev/pts/999999", "elsewhere"])
async def test_a_link_of_somebody_else_stays(tmp_path, target):
    (tmp_path / "dut").symlink_to(target)
    (tmp_path / "dut.lock").write_text("999999\n/dev/pts/999998\n")
    with pytest.raises(StationError, match="there is a file of that name"):
        await open_ports(Air(1), parse_ports([f"pty:{tmp_path}/dut"], []), tmp_path)
    assert os.readlink(tmp_path / "dut") == target


async def test_a_file_in_the_place_of_a_link_stays(tmp_path):
    (tmp_path / "dut").write_text("mine")
    with pytest.raises(StationError, match="cannot be opened: there is a file of that name"):
        await open_ports(Air(1), parse_ports([f"pty:{tmp_path}/dut"], []), tmp_path)
    assert (tmp_path / "dut").read_text() == "mine"


async def test_octets_that_nobody_takes(tmp_path):
    async with Opened("tcp:127.0.0.1:0", tmp_path) as door:
        _, writer = await door.caller()
        writer.transport.pause_reading()
        await soon(lambda: door.one.port.has_host)
        for _ in range(200):
            door.one.port.controller._send(bytes(65536)) if door.one.port.has_host else None
        assert "takes no more data" in door.one.port.refused.message
        await closed(writer)


@pytest.mark.slow
async def test_many_ports(tmp_path):
    """Units on three ports, the last of which is selected."""
    from benchrig.radio.specify import open_simulated
    from tests.radio.port.test_joining import TINY

    ports = parse_ports([f"pty:{tmp_path}/a", "tcp:127.0.0.1:0", f"pty:{tmp_path}/b"], ["", "", f"{TINY} public"])
    done = await run_plan(PLAN, lambda: open_simulated([], ports=ports, keeping=kept(tmp_path)), tmp_path)
    assert done.ended.verdict == "pass"
    assert done.record.unit.address == "00:00:5E:00:53:03"
    assert any(note == f"port 1: pty:{tmp_path}/a" for note in done.notes)
