"""Numbers and times of options."""

from __future__ import annotations

import pytest

from tests.cli.calling import call
from tests.run.kit import DEVICES

SCAN = ("scan", "--radio", f"virtual:{DEVICES / 'logger.yaml'}", "--json", "--for")


@pytest.mark.parametrize("level", ["-60", "-60dBm", "-60 dBm", "-60.0"])
@pytest.mark.parametrize("lead", ["6", "6dB", "6 dB"])
def test_levels_with_their_unit_and_without(level, lead):
    """The device is heard at -52 dBm ± 2 dB."""
    assert call(*SCAN, "500 ms", "--rssi-min", level, "--nearest", lead).exit_code == 0
    assert call(*SCAN, "500 ms", "--rssi-min", level.replace("60", "20"), "--nearest", lead).exit_code == 5


@pytest.mark.parametrize("command", ["read", "write", "watch", "inspect", "draft", "twin", "session"])
def test_whatever_connects_can_do_so_anew(command):
    assert "--fresh" in call(command, "--help").stdout


def test_fresh_reads_all_the_same():
    assert call("read", "battery level", "--fresh", "--radio", f"virtual:{DEVICES / 'logger.yaml'}").exit_code == 0
    assert call("scan", "--fresh").exit_code == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["10m"], "did you mean '10 min'?"),
        (["10"], "for example: 10 s"),
        (["1h30m"], "write one: 90 min"),
        (["1 parsec"], "unknown unit 'parsec'; for example: 10s"),
        (
            ["1s", "--rssi-min", "strong"],
            "expected a level with its unit, found the text 'strong'; for example: -60 dBm",
        ),
        (["1s", "--rssi-min", "-60 dB"], "did you mean '-60 dBm'?"),
        (["1s", "--rssi-min", "nan"], "expected a level"),
        (["1s", "--nearest", "6 parsec"], "unknown unit 'parsec'; for example: 5 dB"),
        (["1s", "--seed", "x"], "'x' is not a valid whole number"),
        (["1s", "--seed", "-1"], "-1 is not in the range x>=0"),
    ],
)
def test_what_is_none(words, said):
    result = call(*SCAN, *words)
    assert result.exit_code == 4
    assert said in " ".join(result.stderr.split())
