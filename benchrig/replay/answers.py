"""What a characteristic answered to reads and writes, as keys of a device file: always the same, or by the number."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

from benchrig.replay.story import Asked, Characteristic, Story
from benchrig.replay.wording import error_text, hex_text, time_text
from benchrig.source.writing import Bare


def value_of(story: Story, one: Characteristic) -> tuple[bytes | None, bool]:
    """Its value at the start, and whether it was read; None for one that needs none."""
    reads = [asked.value for asked in story.of("read", one.key) if asked.value is not None]
    if reads:
        return reads[0], True
    needed = {"read", "notify", "indicate"} & {*one.properties}
    return (b"", False) if needed else (None, False)


def on_read(story: Story, one: Characteristic) -> dict[str, Any]:
    """Values by their number are told only where the value that was written, or the first one, does not explain them."""
    reads = story.of("read", one.key)
    explained = _stores(story, one) or _keeps(story, one)
    first, _ = value_of(story, one)
    answers = [_answer(asked) for asked in reads]
    for asked, answer in zip(reads, answers, strict=True):
        if not explained and asked.value is not None and asked.value != first:
            answer["raw"] = hex_text(asked.value)
    return _by_number(answers)


def on_write(story: Story, one: Characteristic) -> dict[str, Any]:
    writes = story.of("write", one.key)
    kept = {} if not writes or _stores(story, one) or not story.of("read", one.key) else {"store": False}
    deletes = {"delete_bonds": True} if one.key in story.deletes_bonds else {}
    return kept | deletes | _by_number([_answer(asked) for asked in writes])


def _answer(asked: Asked) -> dict[str, Any]:
    """What comes in place of an answer at once."""
    if not asked.answered:
        return {"silent": True}
    delay = {"delay": Bare(time_text(asked.after, 3))} if asked.after else {}
    return delay if asked.error is None else {**delay, "att_error": error_text(asked.error)}


def _by_number(answers: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The keys of a block. The same each time is said once, and holds for what nobody has asked."""
    if not answers or all(answer == answers[0] for answer in answers):
        return answers[0] if answers else {}
    sometimes, number = [], 1
    for answer, alike in itertools.groupby(answers):
        count = len([*alike])
        if answer:
            sometimes.append({"from": number, "times": count, **answer})
        number += count
    return {"sometimes": sometimes}


def _explains(story: Story, one: Characteristic, *, stores: bool) -> bool:
    """Whether each read gave what was there: the first value, or with `stores` what was written last."""
    there: bytes | None = None
    asked = [each for each in story.asked if each.key == one.key and each.kind in ("read", "write")]
    for each in asked:
        if each.kind == "write" and stores and each.answered and each.error is None:
            there = each.written
        elif each.kind == "read" and each.value is not None:
            if there is not None and each.value != there:
                return False
            there = each.value
    return True


def _stores(story: Story, one: Characteristic) -> bool:
    return _explains(story, one, stores=True)


def _keeps(story: Story, one: Characteristic) -> bool:
    return _explains(story, one, stores=False)
