"""What a session shows, as text."""

from __future__ import annotations

import re
from typing import Any

import pytest

from benchrig.cli.session_text import lines
from tests.desk.prompt.kit import LOGGER, Talked, talked
from tests.run.kit import device_text


@pytest.fixture(scope="module")
def done() -> Talked:
    return talked("scan --for 1 s", "connect VFL-0042", "read temperature/user description", "write note x --read-back",
                  "watch log stream", "wait 100 ms", "unwatch", "disconnect", "help wait",
                  devices=(LOGGER, device_text(name='"\\e[2J"')))  # fmt: skip


@pytest.mark.parametrize(
    ("verb", "number", "shown"),
    [
        ("scan", 0, ["2 devices in 1 s", "* \\x1b[2J   C4:00:00:00:00:01   -50 dBm",
                     "* VFL-0042  C4:1F:5A:20:00:42   -50 dBm  environmental sensing"]),
        ("read", 0, ["temperature/user description: Probe at the shelf  "
                     "[50 72 6F 62 65 20 61 74 20 74 68 65 20 73 68 65 6C 66]"]),
        ("write", 0, ["wrote note: x  [78]", "read back note: x  [78]"]),
        ("watch", 0, ["watching log stream"]),
        ("wait", 0, ["waited 0.1 s"]),
        ("disconnect", 0, ["disconnected from VFL-0042"]),
        ("help", 0, ["wait TIME  wait; ends early if the link is lost"]),
    ],
)  # fmt: skip
def test_results_as_lines(verb: str, number: int, shown: list[str], done: Talked) -> None:
    # the levels of the air are its own
    assert [re.sub(r"-5\d dBm", "-50 dBm", line) for line in lines(done.of(verb)[number])] == shown


def test_a_structure_that_was_sent_is_one_line(done: Talked) -> None:
    [line] = lines(done.of("watch")[1])
    assert line.startswith("log stream +0.0")
    assert "number: 0, temperature: 21." in line
    assert line.endswith("A9 0B]")


@pytest.mark.parametrize(
    ("result", "shown"),
    [
        ({"verb": "connect", "device": "a\n", "lost": "\x1b"}, ["the link to a\\n was lost: \\x1b"]),
        ({"verb": "connect", "error": "no\x1b", "advice": ""}, ["no\\x1b"]),
        ({"verb": "unwatch", "attribute": "a", "count": 1, "seconds": 2.0, "rate": None}, ["a: 1 notification in 2 s"]),
        ({"verb": "save", "file": "a\nb", "steps": 3}, ["3 steps in a\\nb"]),
        ({"verb": "save", "file": "a", "steps": 3, "remarks": ["\x1b"]}, ["3 steps in a", "  \\x1b"]),
        ({"verb": "write", "attribute": "a\n", "stopped": "nothing was sent"}, ["write a\\n: nothing was sent"]),
    ],
)
def test_whatever_stands_in_a_result_is_escaped(result: dict[str, Any], shown: list[str]) -> None:
    assert lines(result) == shown
