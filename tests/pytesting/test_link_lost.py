"""The link of a Python test killed at each PDU: the test ends, its link and its radio are closed, the link is to blame."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from benchrig.pytesting.wishes import Wish
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import Faults
from tests.pytesting.kit import Session
from tests.pytesting.test_python_tests import records

# More than what the tests send and hear; behind it nothing is killed, and they pass.
LAST = 60
ASYNC = f"""
import pytest

from benchrig import ConnectedLink


@pytest.mark.asyncio
@pytest.mark.benchrig(unit="GHP-*")
@pytest.mark.parametrize("killed", range(1, {LAST + 1}))
async def test_lost(benchrig_link: ConnectedLink, killed: int) -> None:
    await benchrig_link.read("battery level", expect={{"value": {{"min": "20 %"}}}})
    async with benchrig_link.stream("temperature", expect={{"count": {{"min": 2}}}}) as values:
        assert await anext(values) == await anext(values)
    await benchrig_link.read("humidity")
"""
SYNC = (
    ASYNC.replace("import ConnectedLink", "import sync")
    .replace("@pytest.mark.asyncio\n", "")
    .replace("benchrig_link: ConnectedLink", "benchrig_link_sync: sync.ConnectedLink")
    .replace("benchrig_link.", "benchrig_link_sync.")
    .replace("async ", "")
    .replace("await anext", "next")
    .replace("await ", "")
)


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("text", [ASYNC, SYNC], ids=["async", "sync"])
def test_a_link_that_is_lost_anywhere_ends_the_test_in_order(
    text: str, project: Path, start: Callable[..., Session], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Wish.choice.fget
    assert whole is not None

    def killing(wish: Wish) -> RadioChoice:
        position = re.search(r"\[([0-9]+)\]", wish.name)  # none while tests are collected
        return replace(whole(wish), faults=Faults(kill_at=int(position[1])) if position else None)

    monkeypatch.setattr(Wish, "choice", property(killing))
    (project / "tests/test_lost.py").write_text(text, "utf-8")
    session = start("tests/test_lost.py", "-p", "no:cacheprovider", "-W", "error")
    assert "warning" not in session.text
    kept = records(project)
    assert len(kept) == LAST
    for name, came in session.came.items():
        record = kept[name.rpartition("::")[2]]
        assert record.ended is not None, name
        assert all(step.ended is not None for step in record.executions), name
        if came == "passed":  # lost while connecting, or not at all
            assert record.verdict == "pass", (name, record.message)
            continue
        assert (came, record.verdict, record.cause) == ("failed", "fail", "link"), (name, came, record.message)
        assert session.said[name].startswith("fail (link)"), session.said[name]
        assert "lost" in session.said[name], session.said[name]
    assert session.counts().keys() == {"passed", "failed"}
    assert session.came[f"tests/test_lost.py::test_lost[{LAST}]".partition("::")[2]] == "passed"
