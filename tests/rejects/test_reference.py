"""The page of the reference against the code."""

from __future__ import annotations

from typing import Any

import click
import msgspec

from benchrig.cli.rejects import rejects
from benchrig.rejects.results import Idle, LimitSeen, Rejecting, Rejects, Share, Tight, UnitRun
from benchrig.rejects.seen import Seen
from tests.reference import SECTIONS, words


def column(section: str, head: str) -> list[str]:
    return [word for row in SECTIONS[section].table(head) for word in words(row[head])]


def test_every_option_is_in_the_table() -> None:
    told = {word.split()[0] for word in column("Testing good units", "option")}
    options: list[Any] = [each for each in rejects.params if isinstance(each, click.Option)]
    known = {name for each in options for name in each.opts if name.startswith("--")}
    assert told <= known
    assert known - told == {"--port", "--start", "--air"}


def test_json() -> None:
    section = "JSON of rejects"
    assert {*column(section, "key"), "format"} == {*Rejects.__struct_fields__}
    text = {*words(SECTIONS[section].text)}
    kinds: tuple[type[msgspec.Struct], ...] = (UnitRun, Share, Rejecting, Tight, LimitSeen, Seen)
    assert {name for kind in kinds for name in kind.__struct_fields__} <= text
    assert {*Idle.__struct_fields__} <= text
