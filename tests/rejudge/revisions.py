"""Whether a record comes to what a run with other limits comes to, on the same unit in the same air."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from typing import Any

from benchrig.errors import PlanError
from benchrig.record.events import RunEnded
from tests.rejudge.kit import again
from tests.run.kit import DEVICES, PLANS, SHIPPED, run

# A number of a limit; no version such as 1.4.0.
_BOUND = re.compile(r"\b(?:min|max|equals|nominal|failed|count): (-?[0-9]+(?:\.[0-9]+)?)(?![0-9.])")


def compared(name: str, count: int, seed: int) -> int:
    """How many were: of the others nobody can say what they come to."""
    text = (PLANS / f"{name}.yaml").read_text(encoding="utf-8").replace("use: ", f"use: {PLANS}/")
    chance, device, known = random.Random(f"{name} {seed}"), DEVICES / f"{SHIPPED[name]}.yaml", 0
    for other in _revisions(text, chance, count):
        how: dict[str, Any] = {"seed": chance.randrange(100), "air": chance.choice(["kind", "rough"])}
        try:
            ends = {plan: run(plan, device, **how) for plan in (text, other)}
        except PlanError:
            continue  # no plan has such a limit
        for before, after in ((text, other), (other, text)):
            found = again(ends[before].record, after)
            assert found.ended is None or _said(found.ended) == _said(ends[after].ended), other
            known += found.ended is not None
    return known


def _revisions(text: str, chance: random.Random, count: int) -> Iterator[str]:
    """The plan, each time with another number in one of its limits."""
    bounds = [*_BOUND.finditer(text)]
    for _ in range(count):
        bound = chance.choice(bounds)
        number = float(bound[1])
        other = chance.choice([number * 0.5, number * 0.9, number * 1.1, number - 20, number + 20])
        yield f"{text[: bound.start(1)]}{round(other, 3) if '.' in bound[1] else int(other)}{text[bound.end(1) :]}"


def _said(end: RunEnded) -> tuple[object, ...]:
    """All but how many samples of a stream are outside, which its least and greatest do not tell."""
    message = re.sub(
        r"(of [0-9]+ samples at least one is outside|[0-9]+ of [0-9]+ samples outside; the first, [^:]*): .*",
        "outside",
        end.message,
    )
    return end.verdict, end.cause, end.exit_code, end.root, end.planned, end.judged, end.not_judged, message
