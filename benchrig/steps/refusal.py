"""An ATT error as a reading: a plan that expects a refusal judges it, any other fails by it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from benchrig.errors import AttError
from benchrig.steps.base import ReadingType
from benchrig.steps.bench import Bench

ATT_ERROR = ReadingType("text", "", "name of the ATT error the device answered with; 'none' when there was none")


@dataclass
class Answer:
    """`refused` after the context when the device answered with an ATT error that the plan wants to judge."""

    refused: bool = False


@contextmanager
def answered(bench: Bench) -> Iterator[Answer]:
    """Around a request: reports `att_error` where the plan names it, and lets the error through where it does not."""
    answer = Answer()
    wanted = bench.wanted("att_error")
    try:
        yield answer
    except AttError as error:
        if not wanted:
            raise
        answer.refused = True
        bench.reading("att_error", error.name)
    else:
        if wanted:
            bench.reading("att_error", "none")
