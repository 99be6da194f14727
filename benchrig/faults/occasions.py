"""What a broken device does at some of its occasions, as changes of a block."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from benchrig.faults.mutation import Change, behaving
from benchrig.radio.virtual.behaviour import Behaviour, When
from benchrig.radio.virtual.words import AttErrorCode

EACH = When()
UNLIKELY = AttErrorCode(0x0E)  # what a device answers that does not know what is wrong (Core Vol 3 Part F 3.4.1.1)


def at(number: int) -> When:
    """Once: the how manieth."""
    return When(from_=number, times=1)


def since(number: int) -> When:
    """From the how manieth on."""
    return When(from_=number)


def every(number: int) -> When:
    return When(every=number)


def when(times: When, behaviour: Behaviour) -> Behaviour:
    """The same at these times."""
    return replace(behaviour, when=times)


def instead(block: str, behaviour: Behaviour) -> Change:
    """This behaviour each time, in place of what takes the place of the answer now, and of one of its kind."""

    def change(part: Any) -> Any:
        present = getattr(part, block)
        kept = tuple(one for one in present.behaviours if not one.is_answer and type(one) is not type(behaviour))
        return behaving(block, behaviour)(replace(part, **{block: replace(present, behaviours=kept)}))

    return change
