"""Programs that are told of a verdict: with its words, in their time, without a shell."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from benchrig.line.told_programs import tell
from benchrig.station.told import Told
from benchrig.values.quantity import Duration

WRITES = "import sys; open('told', 'w').write('|'.join(sys.argv[1:]))"


async def test_the_words_are_arguments(tmp_path: Path) -> None:
    told = Told([sys.executable, "-c", WRITES, "{verdict}", "is {serial}"])
    assert not (await tell(told, {"verdict": "PASS", "serial": "a b; rm"}, tmp_path)).trouble
    assert (tmp_path / "told").read_text() == "PASS|is a b; rm"


@pytest.mark.parametrize(
    ("code", "trouble"),
    [("raise SystemExit('no lamp')", "no lamp"), ("import time; time.sleep(60)", "longer than 0.3 s")],
)
async def test_what_goes_wrong_is_said(tmp_path: Path, code: str, trouble: str) -> None:
    told = Told([sys.executable, "-c", code], Duration.of(0.3 if "sleep" in code else 20))
    assert trouble in (await tell(told, {}, tmp_path)).trouble
