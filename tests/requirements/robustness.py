"""What a maker wants to know of a device that strangers can reach."""

from __future__ import annotations

from tests.requirements.kit import Requirement

_TOP = "caution: the lock may open, and may have to be restarted\n"


def _weak(what: str) -> tuple[str, str]:
    return "console:\n", f"weaknesses: [{what}]\nconsole:\n"


REQUIREMENTS = [
    Requirement(
        "a value that is too long does no harm",
        "lock",
        """
  - robust: 120
    name: values of any length
    only: [lengths, prepared]
    writes: [relock time]
    protect: [pin]
    expect: {died: {equals: false}, wrong_answers: {equals: 0}, tried.lengths: {min: 5}}
  - read: relock time
    expect: {value: {equals: 5 s}}
""",
        _weak("{against: long value, does: reboot}"),
        fails="values of any length",
        says="killed by: write 0x",
        top=_TOP,
    ),
    Requirement(
        "what is behind the end of a value is no memory",
        "lock",
        """
  - robust: 120
    name: reads of any offset
    only: [offsets, handles]
    protect: [pin]
    expect: {wrong_answers: {equals: 0}, tried.offsets: {min: 5}}
""",
        _weak("{against: offset beyond the end, does: accept}"),
        fails="reads of any offset",
        says="found a read blob response (0D)",
        top=_TOP,
    ),
    Requirement(
        "strangers cannot stop it",
        "lock",
        """
  - robust: 150
    name: whatever comes
    protect: [pin]
    expect: {died: {equals: false}, wrong_answers: {equals: 0}, slowest: {max: 2 s}}
  - read: bolt
    expect: {value: {equals: locked}}
""",
        _weak("{against: SMP garbage, does: freeze}"),
        fails="whatever comes",
        says="no answer within 5 s; killed by: smp",
        top=_TOP,
    ),
]
