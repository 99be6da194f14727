"""What is measured moves, but does not jump: from one read to the next, nor because something else is written.

Good units lie too far apart for a limit on the value itself to show that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from benchrig.escapes.proposals.attributes import Attributes, Subject
from benchrig.escapes.proposals.candidate import Candidate
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.writes import is_setting, others
from benchrig.plan.writing import StepText
from benchrig.propose.numeric import farthest, is_measured
from benchrig.source.writing import Bare, decimal_text
from benchrig.values.base import Format
from benchrig.values.quantity import exact, is_number
from benchrig.values.spread import spread

_TWICE = Bare("2")


@dataclass(frozen=True)
class _Measured:
    """`apart`: how far two reads of a good unit lie apart at most."""

    subject: Subject
    apart: Bare

    def read(self, name: str) -> StepText:
        return self.subject.step("read", name)


def candidates(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """Early, for what is right when it is first read and never again."""
    for each in _measured(attributes):
        name = f"{each.subject.seen.name} does not jump"
        step = _twice(name, [each], "from read to read", [])
        why = "what is right once, and another value from then on, passes a limit that all good units pass"
        yield Candidate("look", name, why, [step], early=True)


def beside_writes(ground: Ground, attributes: Attributes) -> Iterator[Candidate]:
    """Before any other write: what that spoils stays spoilt."""
    measured = _measured(attributes)
    for setting in filter(is_setting, attributes.subjects if measured else ()):
        name, old = setting.seen.name, setting.value
        for new in others(setting, old or b""):
            write = setting.step("write", f"{name} between two reads", **setting.written(new), read_back=True)
            called = f"{name} is as it was between reads"
            restore = setting.step("write", called, **setting.written(old or b""), read_back=True)
            called = f"what is measured does not jump when {name} is written"
            step = _twice(called, measured, f"around a write of {name}", [write])
            why = "nothing compares what is measured before and after a write"
            yield Candidate("write", called, why, [step, restore])


def _twice(name: str, measured: Sequence[_Measured], when: str, then: Sequence[StepText]) -> StepText:
    reads = {f"{each.subject.seen.name} {when}": each for each in measured}
    steps = [each.read(called) for called, each in reads.items()]
    step = StepText("repeat", _TWICE, {"name": name}, parts={"steps": [*steps, *then]})
    for called, each in reads.items():
        step.hold(f"{called}.value.spread", {"max": each.apart})
    return step


def _measured(attributes: Attributes) -> list[_Measured]:
    """The numbers that can be read and are no settings."""
    everywhere = {each.place: each for each in attributes.good.subjects}
    found = list[_Measured]()
    for subject in attributes.subjects:
        form, seen = subject.seen.form, everywhere.get(subject.seen.place, subject.seen)
        by_unit = seen.values()
        rows = [[exact(value) for value in each if is_number(value)] for each in by_unit.values()]
        if form is None or form.kind != "number" or not is_measured(form) or subject.seen.is_setting or not any(rows):
            continue
        found.append(_Measured(subject, _apart(form, [row for row in rows if row])))
    return found


def _apart(form: Format, rows: Sequence[Sequence[Fraction]]) -> Bare:
    room = farthest(form, rows)
    return Bare(f"{decimal_text(room)} {spread(0, 0, form.unit)[1]}".rstrip())
