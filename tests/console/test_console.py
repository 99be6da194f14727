"""One console: what steps have not seen, who listens, what is kept in the folder of the run."""

import asyncio

import pytest

from benchrig.console import console as module
from benchrig.console import log
from benchrig.console.console import Console
from benchrig.console.log import Keeping
from benchrig.errors import DeviceError, StationError
from benchrig.radio.virtual.clock import run


def kept(folder):
    return Keeping(folder, asyncio.get_running_loop().time())


def on_the_clock(work):
    """Done on the virtual clock, where times are exact."""
    return run(work)


def test_lines_have_the_time_of_the_run(tmp_path):
    async def work():
        console = Console("c", kept(tmp_path))
        console.feed(b"boot v1\r\n")
        await asyncio.sleep(1.25)
        console.sender = send
        await console.send("status")
        console.feed(b"state=\x1b[31mrun\xff\n")
        console.close()
        return console.remark()

    async def send(text):
        assert text == "status"

    assert on_the_clock(work()) == "console.log: 2 lines"
    assert (tmp_path / "console.log").read_text() == (
        "      0.000000   boot v1\n      1.250000 > status\n      1.250000   state=\\x1b[31mrun\\xff\n"
    )


def test_what_no_step_has_seen_waits_for_one():
    async def work():
        console = Console("c")
        console.feed(b"1\n2\n3\n")
        first = next(console.unseen()).text
        console.feed(b"4\n")
        return first, [line.text for line in console.unseen()], console.forget()

    assert on_the_clock(work()) == ("1", ["2", "3", "4"], 0)


def test_a_line_that_nothing_ends_is_one_after_a_while():
    async def work():
        console = Console("c")
        console.feed(b"login: ")
        assert not await console.more(module.UNFINISHED - 0.01)
        assert await console.more(0.02)
        console.feed(b"last words")
        console.lose(DeviceError("crash"))
        return [line.text for line in console.unseen()], await console.more(99)

    assert on_the_clock(work()) == (["login: ", "last words"], True)


def test_a_flood_is_bounded_and_counted(tmp_path, monkeypatch):
    monkeypatch.setattr(log, "MOST_FILE", 60_000)

    async def work():
        console, heard = Console("c", kept(tmp_path)), []
        with console.listening(lambda line: heard.append(line.number)):
            for start in range(0, 30_000, 5000):
                console.feed(b"".join(b"line %d\n" % number for number in range(start, start + 5000)))
        console.close()
        assert heard == list(range(1, 30_001)), "who listens misses none"
        assert console.dropped == 30_000 - module.MOST_UNSEEN
        assert next(console.unseen()).number == console.dropped + 1
        return console.remark()

    said = on_the_clock(work())
    files = sorted(tmp_path.iterdir())
    assert len(files) == 3
    assert all(file.stat().st_size <= 60_000 for file in files)
    numbers = sorted(int(line.split()[2]) + 1 for file in files for line in file.read_text().splitlines())
    gone = sorted({*range(1, 30_001)} - {*numbers})
    assert gone == list(range(gone[0], gone[-1] + 1))
    assert said == f"console.log: 30000 lines; lines {gone[0]} to {gone[-1]} are not kept"


def test_a_full_disk_is_told_and_ends_nothing(tmp_path):
    async def work():
        console = Console("c", Keeping(tmp_path / "nowhere", 0.0))
        console.feed(b"a\nb\n")
        console.close()
        return console.remark()

    assert on_the_clock(work()) == "console.log: 2 lines; it is not complete: No such file or directory"


def test_nothing_printed_leaves_nothing(tmp_path):
    async def work():
        console = Console("c", kept(tmp_path))
        console.close()
        return console.remark()

    assert on_the_clock(work()) == ""
    assert not [*tmp_path.iterdir()]


def test_secrets_are_not_kept(tmp_path):
    async def work():
        console = Console("c", Keeping(tmp_path, 0.0, lambda text: text.replace("4711", "****")))
        console.sender = nothing
        await console.send("pin 4711")
        console.feed(b"echo pin 4711\n")
        console.close()

    async def nothing(text):
        pass

    on_the_clock(work())
    assert "4711" not in (tmp_path / "console.log").read_text()


def test_the_end_is_told_to_all_and_ends_sending():
    async def work():
        console, told = Console("c"), []
        with pytest.raises(StationError, match="takes no input"):
            await console.send("x")
        with console.listening(lambda line: None, told.append):
            console.lose(DeviceError("first"))
            console.lose(DeviceError("second"))
        with pytest.raises(DeviceError, match="first"):
            await console.send("x")
        return [error.message for error in told]

    assert on_the_clock(work()) == ["first"]
