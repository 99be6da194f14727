"""The record is a public format: the reference lists its events and their keys."""

from __future__ import annotations

import json
import re
from typing import Any, get_args

import msgspec
import pytest

from benchrig.record.events import AnyEvent, PlannedNode
from tests.reference import PAGES, SECTIONS

SECTION = SECTIONS["Lines of the record"]
EXAMPLES = re.findall(r'^\{"event":.*\}$', "\n".join(PAGES.values()), re.MULTILINE)
EVENTS = {kind.__struct_config__.tag: kind for kind in get_args(AnyEvent)}


def keys(kind: type[msgspec.Struct]) -> set[str]:
    return set(kind.__struct_fields__) - {"at"}


def named(text: str) -> set[str]:
    return set(re.findall(r"`(\w+)`", text))


def test_every_event_is_listed_once() -> None:
    assert EXAMPLES
    assert sorted(row["event"] for row in SECTION.table("event")) == sorted(f"`{tag}`" for tag in EVENTS)


@pytest.mark.parametrize("row", SECTION.table("event"), ids=lambda row: row["event"])
def test_every_key_of_an_event_is_listed(row: dict[str, str]) -> None:
    assert named(row["keys beside `at`"]) == keys(EVENTS[row["event"].strip("`")])


def test_the_keys_of_a_node_are_listed() -> None:
    [sentence] = re.findall(r"Each of `nodes` is a step of the plan: (.*?)`children`", SECTION.text, re.DOTALL)
    assert named(sentence) >= keys(PlannedNode) - {"children"}


@pytest.mark.parametrize("line", EXAMPLES)
def test_the_examples_are_lines_of_a_record(line: str) -> None:
    kind: Any = AnyEvent
    event = msgspec.json.decode(line.encode(), type=kind)
    assert json.loads(msgspec.json.encode(event)) == json.loads(line)
