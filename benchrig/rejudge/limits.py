"""The limits of one execution held again against the readings that are on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any, NamedTuple

from msgspec.structs import replace

from benchrig.errors import MalformedValue
from benchrig.record.events import Reading
from benchrig.record.secrets import MASK
from benchrig.rejudge import streams
from benchrig.rejudge.sameness import OTHER, Sameness
from benchrig.rejudge.streams import Undecided
from benchrig.rejudge.typed import is_whole, possible_values
from benchrig.run.judge import Judge
from benchrig.source.shape import Misfit
from benchrig.steps.discover import Comparison, ExpectedTable
from benchrig.steps.sequential import Accepted
from benchrig.values.format import Format
from benchrig.values.jsonable import jsonable
from benchrig.values.judging import Judgement, shown

# What the record tells of a limit that holds a secret.
_SECRET = "(secret)"
_GAVE_NONE = "a reading"
# Readings whose broken limit a step tells in words of its own.
_OWN_WORDS = frozenset({"att_error", "answer"})
# Readings whose limit decides what the step does.
_STEERING = frozenset({"failure", "failed_by", "connected", "heard", "att_error"})


class Held(NamedTuple):
    """One reading and its limit: as the run judged it, and as it is judged now. `unknown` says why nobody can say."""

    reading: Reading
    after: Judgement | None = None
    unknown: str = ""
    # what its bytes are, where that is not the value
    misread: str = ""

    @property
    def before(self) -> Judgement | None:
        return self.reading.judgement


@dataclass(frozen=True)
class LimitsAgain:
    """Of one execution. `closed` are limits whose values are not on record, and why; `evidence` is what is behind a reading;
    `same` says what of plan and limits is that of the run; `broken_off`, that an error ended the step."""

    judge: Judge
    not_judged: frozenset[str] = frozenset()
    closed: Mapping[str, str] = field(default_factory=dict)
    evidence: Mapping[str, object] = field(default_factory=dict)
    same: Sameness = OTHER
    broken_off: bool = False
    # the readings whose limits are written as in the plan of the run, which is another one
    alike: frozenset[str] = frozenset()

    def hold(self, readings: Iterable[Reading]) -> list[Held]:
        """Each reading with a limit, in the order in which the run had them."""
        return [held for reading in in_order(readings) if (held := self._held(reading)) is not None]

    def _held(self, reading: Reading) -> Held | None:
        if not self._has_limit(reading.name) or (reading.judgement is None and reading.name in self.not_judged):
            return None
        try:
            return Held(reading, self._again(reading), misread=self._misread(reading))
        except Undecided as why:
            return Held(reading, unknown=str(why))
        except Misfit as misfit:
            return self._kept(reading, misfit.message)

    def _has_limit(self, name: str) -> bool:
        return name in self.judge.limits or name in self.closed

    def _again(self, reading: Reading) -> Judgement | None:
        name, before = reading.name, reading.judgement
        if name in self.closed or not is_whole(reading) or (before is not None and before.limit == _SECRET):
            return self._as_before(reading, self.closed.get(name, "the record does not have the whole value"))
        if _is_missing(reading):
            return self.judge.missing(name)
        after = self._of_samples(reading) if reading.samples is not None else self._of_value(reading)
        if before is None and after is None:
            return None
        return self._checked(name, before, after)

    def _checked(self, name: str, before: Judgement | None, after: Judgement | None) -> Judgement | None:
        if before is not None and after is not None and _one_place(before.place, after.place):
            after = replace(after, place=before.place)
        if name in _STEERING and before is not None and after is not None and before.limit != after.limit:
            raise Undecided(f"the limit on {name} decides what the step does, and it is another one now")
        return after

    def _of_samples(self, reading: Reading) -> Judgement | None:
        running = self.judge.running(reading.name, reading.unit)
        assert running is not None
        limit, kind = self.judge.limits[reading.name], self.judge.kind_of(reading.name)
        before = reading.judgement
        whole = not self.broken_off if before is None else before.passed or not self.broken_off
        return streams.judged(reading, running, limit, kind, whole=whole)

    def _of_value(self, reading: Reading) -> Judgement | None:
        name, before = reading.name, reading.judgement
        limit: Any = self.judge.limits[name]
        evidence = self.evidence.get(name)
        weighs = isinstance(limit, Accepted) or getattr(limit, "confidence", None) is not None
        if weighs and evidence is None and reading.value is not None:
            return self._weighed_before(limit, reading)
        if isinstance(limit, ExpectedTable):
            return self._of_table(reading)
        values, unit = self._values_and_unit(reading)
        after = self._of_possible(values, unit, reading, evidence)
        return _in_its_words(name, before, after)

    def _of_possible(self, values: list[Any], unit: str, reading: Reading, evidence: object) -> Judgement | None:
        """The one that the limit of the run was tied to; by another limit what all of them come to."""
        found, misfits = list[Judgement | None](), list[Misfit]()
        for value in values:
            try:
                found.append(self.judge.judge(reading.name, value, unit, _lack(reading), evidence))
            except Misfit as misfit:
                misfits.append(misfit)
        if not found:
            raise misfits[0]
        before = reading.judgement
        alike = [each for each in found if before and each and each.limit == before.limit]
        if not alike and len({each.passed for each in found if each}) > 1:
            raise Undecided("the record does not say whether it is text or bytes, and the limit asks for that")
        return (alike or found)[0]

    def _values_and_unit(self, reading: Reading) -> tuple[list[Any], str]:
        """By the plan of the run as it is on record; another plan may read the bytes in another way."""
        form = self._form(reading)
        if form is None or self.same.plan:
            return possible_values(reading, self.judge.kind_of(reading.name)), reading.unit
        try:
            return [form.decode(_octets(reading))], form.unit
        except MalformedValue as error:
            raise Undecided(f"its bytes do not fit the format of the plan: {error.message}") from error

    def _form(self, reading: Reading) -> Format | None:
        """What its bytes are read by."""
        declared = self.judge.types.get(reading.name) if self.judge.types else None
        is_read = declared is not None and reading.name == "value" and reading.samples is None and is_whole(reading)
        return declared.form if declared and is_read and reading.raw and reading.raw != MASK else None

    def _misread(self, reading: Reading) -> str:
        """What the bytes of the reading are by the plan of the run, where the record says that they are something else."""
        form = self._form(reading) if self.same.plan else None
        if form is None or reading.value is None:
            return ""
        try:
            found = jsonable(form.decode(_octets(reading)))
        except MalformedValue as error:
            return error.message
        return "" if found == reading.value else shown(found, form.unit)

    def _of_table(self, reading: Reading) -> Judgement | None:
        """The step has compared the table with the plan of the run; the record has the differences alone."""
        if not self._is_same(reading):
            raise Undecided(
                "the record says how the table differs from that of the plan of the run, and does not have the table"
            )
        said = reading.judgement.sentence if reading.judgement is not None else ""
        found = Comparison.of([] if reading.value == Comparison.of([]) else [said])
        return self.judge.judge(reading.name, found)

    def _weighed_before(self, limit: Any, reading: Reading) -> Judgement:
        """A limit on what is behind the reading, which the record does not have one by one."""
        before = reading.judgement
        words = limit.in_words
        if not isinstance(limit, Accepted):
            words = f"{limit.bind('number', reading.unit).words} at {limit.confidence} confidence"
        if before is None or before.limit != words:
            raise Undecided("the rounds that the limit is on are not all on record")
        return before

    def _as_before(self, reading: Reading, why: str) -> Judgement:
        if reading.judgement is None or not self._is_same(reading):
            raise Undecided(why)
        return reading.judgement

    def _is_same(self, reading: Reading) -> bool:
        """Whether it was this very limit that the run held against the reading."""
        place = reading.judgement.place if reading.judgement is not None else ""
        of_set = bool(self.same.limits_file) and PurePath(place).name.startswith(f"{self.same.limits_file}:")
        same_line = self.same.plan and not of_set and _one_place(place, self.judge.place_of(reading.name))
        alike = reading.name in self.alike and not self.same.limits_file and not self.same.has_set
        return self.same.all or same_line or alike

    def _kept(self, reading: Reading, why: str) -> Held:
        return Held(reading, unknown=f"the limit does not apply to it: {why}")


def _octets(reading: Reading) -> bytes:
    try:
        return bytes.fromhex(reading.raw or "")
    except ValueError:
        raise MalformedValue("no hex digits") from None


def _one_place(one: str, other: str) -> bool:
    """Whether two places are the same line; the file may have been moved."""
    return PurePath(one).name == PurePath(other).name


def in_order(readings: Iterable[Reading]) -> list[Reading]:
    """As the step gave them: what was owed comes last, and streams are over when the rest is there."""
    return sorted(readings, key=lambda each: 2 if _is_missing(each) else int(each.samples is not None))


def _is_missing(reading: Reading) -> bool:
    judgement = reading.judgement
    return judgement is not None and judgement.limit == _GAVE_NONE and reading.value is None and not reading.samples


def _lack(reading: Reading) -> str:
    """What a value that is not there lacks: the record has it in the sentence alone."""
    said = "" if reading.judgement is None or reading.value is not None else reading.judgement.sentence
    return said.partition(": ")[2]


def _in_its_words(name: str, before: Judgement | None, after: Judgement | None) -> Judgement | None:
    """A broken limit that its step tells more of: the same one is told in the same way."""
    if before is None or after is None or after.passed or before.passed:
        return after
    told = before.sentence.startswith(after.sentence) or name in _OWN_WORDS
    return before if told and replace(after, sentence=before.sentence) == before else after


def broken(held: Sequence[Held]) -> list[str]:
    return [each.after.sentence for each in held if each.after is not None and not each.after.passed]


def judged(held: Sequence[Held]) -> set[str]:
    return {each.reading.name for each in held if each.after is not None}
