"""Whether a study is large enough to say something."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.gauge.design import Design
from benchrig.source.problem import counted
from benchrig.study.gauge.sizes import FEW

# Fewer units tell nothing of how units differ, which the total variation is made of.
FEWEST_UNITS = 5
USUAL = "10 units, 3 appraisers and 3 repeats are usual"


def size_notes(design: Design) -> Iterator[str]:
    """What it will not show well; nothing of one that is large enough."""
    if design.is_short:
        if design.repeats < FEW:
            yield f"expected {FEW} repeats or more, found {design.repeats}: the intervals are wide"
        return
    if len(design.units) < FEWEST_UNITS:
        yield (f"expected {FEWEST_UNITS} units or more, found {len(design.units)}: the total variation, and what is of it, is hardly"
               f" known; {USUAL}")  # fmt: skip
    if len(design.appraisers) == 1:
        yield f"{counted(1, 'appraiser')} shows nothing of how appraisers, or stations, differ; {USUAL}"
