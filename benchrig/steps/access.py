"""access: every attribute of the table against what it must ask for, over links of rising protection."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

import msgspec

from benchrig.access.asking import ANSWER_WITHIN
from benchrig.access.trying import Trying
from benchrig.errors import NoAnswer, StepFailed, StepTimeout
from benchrig.radio.offers import NOT_SENT
from benchrig.radio.security import SMALLEST_KEY
from benchrig.radio.turns import Use
from benchrig.source.problem import counted
from benchrig.source.shape import LATE, Misfit, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.access_levels import SHORT_KEY, Levels
from benchrig.steps.access_links import AccessLinks, level_in_words
from benchrig.steps.access_matrix import OTHERS, Matrix
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.patience import Patience
from benchrig.steps.payload import encode, misfit_of
from benchrig.values.limit_keys import AnyValue

# So many differences are told in a sentence.
_TOLD = 10


class Access(Step, kw_only=True):
    """Try every operation on every attribute over links of its own: without security first, then at each level, then
    without security again. The link of the steps before is ended, and none is left."""

    verb: ClassVar[str] = "access"
    uses: ClassVar[Use] = Use.CONNECT
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.BOND})
    ends: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    unbonded: ClassVar[bool] = True
    conceals: ClassVar[frozenset[str]] = frozenset({"passkey", "number", "out_of_band"})
    writes: ClassVar[bool] = True
    within_default: ClassVar[float] = 120.0
    tries_again: ClassVar[bool] = False
    usual: ClassVar[str] = "differences"

    access: Matrix
    levels: Levels = msgspec.field(default_factory=Levels)
    may_write: list[AttributeName] = msgspec.field(name="writes", default_factory=list)
    changes: dict[str, AnyValue] = msgspec.field(default_factory=dict)
    strict: bool = True

    @classmethod
    def given_by(cls, node: MappingNode) -> frozenset[Cap]:
        """A bond where a level is to leave one."""
        bonding = [level.get("bonding") for level in _levels_in(node)]
        return cls.gives if any(isinstance(each, Scalar) and each.value is True for each in bonding) else NOTHING

    @classmethod
    def concealed_in(cls, node: MappingNode) -> list[Node]:
        of_level = super().concealed_in  # no super() within a comprehension
        return [found for level in _levels_in(node) for found in of_level(level)]

    @property
    def is_open(self) -> bool:
        """The readings are the same whatever its keys are."""
        return False

    def misfits_of_names(self, names: Names) -> Iterable[Misfit]:
        if any(map(_is_late, (self.access, self.levels, self.may_write, self.changes))):
            return  # what stands in them is known in the run only
        for misfit in self.access.misfits(names):
            yield Misfit(misfit.message, misfit.advice, ("access", *misfit.path))
        if not self.access.judges:
            message = "the matrix judges nothing, so every unit would pass"
            yield Misfit(message, "say of one operation what it needs: {read: open}", ("access",))
        yield from self._level_misfits()
        yield from self._key_misfits()
        for index, written in enumerate(self.may_write):
            yield from self._write_misfits(names, written, index)
        for changed, value in self.changes.items():
            yield from self._change_misfits(names, changed, value)

    def _level_misfits(self) -> Iterable[Misfit]:
        for misfit in self.levels.astray:
            yield Misfit(misfit.message, misfit.advice, ("levels", *misfit.path))
        for level in self.levels.lacking(self.access.highest):
            message = f"the matrix is about links that are {level_in_words(level)}, and levels has no way to them"
            advice = f"write {level.words}: {{pair: …}} under levels, or {level.words}: never where the unit has none"
            yield Misfit(message, advice, ("levels",))

    def _key_misfits(self) -> Iterable[Misfit]:
        """A size of the key that no link would show to be asked for."""
        short, longest = self.levels.short, max(self.access.sizes.values(), default=0)
        if longest > SMALLEST_KEY and self.levels.short_key is None:
            advice = f"write {SHORT_KEY}: {{pair: …}} under levels, or {SHORT_KEY}: never where the unit refuses one"
            yield Misfit(
                "the matrix asks for a size of the key, and levels has no link with a short one", advice, ("levels",)
            )
        if short is not None and longest and short.key_size >= longest:
            message = f"a key of {short.key_size} bytes is long enough for all that the matrix asks for"
            yield Misfit(message, f"write key_size: {SMALLEST_KEY}, or leave it out", ("levels", SHORT_KEY, "key_size"))

    def _write_misfits(self, names: Names, name: str, index: int) -> Iterable[Misfit]:
        if name in self.may_write[:index]:
            yield Misfit(f"'{name}' is listed twice", "take one of them out", ("writes", index))
        elif (wrong := _unknown(names, name)) is not None:
            yield Misfit(wrong.message, wrong.advice, ("writes", index))
        else:
            yield from self._not_judged(names, name, index)

    def _change_misfits(self, names: Names, name: str, value: Any) -> Iterable[Misfit]:
        if name not in self.may_write:
            yield Misfit(f"'{name}' is not listed under writes", "add it there", ("changes", name))
        elif not is_late(value) and _unknown(names, name) is None:
            wrong = misfit_of(self, names.meaning(name).format, value, None)
            yield from [Misfit(wrong.message, wrong.advice, ("changes", name))] if wrong else []

    def _not_judged(self, names: Names, name: str, index: int) -> Iterable[Misfit]:
        """An attribute that is to be written, while the matrix judges no write of it."""
        address = names.meaning(name).address
        said = [needs for each, needs in self.access.named.items() if _address(names, each) == address]
        needs = {**self.access.others, **(said[0] if said else {})}
        if not any(needs.get(each, "any") != "any" for each in ("write", "write without response")):
            message = f"the matrix judges no write of '{name}'"
            yield Misfit(message, "say what its write needs, or take it out of writes", ("writes", index))

    def hints(self, names: Names) -> Iterable[str]:
        """The writes that the matrix judges, and nobody may try."""
        if any(map(_is_late, (self.access, self.may_write))):
            return
        allowed = {_address(names, name) for name in self.may_write}
        rows = {name: needs for name, needs in self.access.named.items() if _address(names, name) not in allowed}
        if allowed <= {_address(names, name) for name in self.access.named}:
            rows[OTHERS] = self.access.others
        untried = [
            f"{name} ({operation})"
            for name, needs in rows.items()
            for operation in ("write", "write without response")
            if needs.get(operation, "any") != "any"
        ]
        if untried:
            yield f"judges writes that are not tried, for writes does not list them: {', '.join(untried)}"

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "differences": ReadingType("number", "", "operations that the unit allows or refuses otherwise, and gaps"),
            "tried": ReadingType("number", "", "operations that were tried, each over each link"),
            "not_tried": ReadingType("number", "", "operations that were not tried over a link"),
            "found": ReadingType("list", "", "the differences: attribute, operation, link, expected, found"),
            "elapsed": SECONDS,
        }

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        unsent = "" if bench.device.radio.sends_unoffered else NOT_SENT
        trying = Trying(self.strict, bench.lacks("differences"), unsent)
        try:
            patience, seconds = Patience(refused=bench.device.was_refused), self._seconds(bench)
            links = AccessLinks(bench, trying, self.access, self.levels, self.may_write, seconds, patience)
            await links.try_all()
        except NoAnswer as error:
            self._tell(bench, trying)
            if bench.time_left < ANSWER_WITHIN:
                raise _too_short(self.deadline, trying.tried) from error
            raise
        except BaseException:
            self._tell(bench, trying)
            raise
        found = trying.differences
        if found and (trying.hides_refusals or not (bench.wanted("differences") or bench.wanted("found"))):
            self._tell(bench, trying)
            raise StepFailed(_in_short(found))  # a part is enough to fail, and not enough to pass
        if trying.tried or found:
            bench.reading("differences", len(found), telling=lambda sentence: f"{sentence}: {_in_short(found)}")
        else:
            bench.not_measured("differences", "no operation was tried")
        bench.reading("tried", trying.tried)
        bench.reading("not_tried", sum(trying.not_tried.values()))
        if trying.not_tried:
            bench.note(_untried(trying.not_tried))
        bench.reading("found", found, access=trying.all)
        bench.reading("elapsed", bench.since(started), "s")

    def _seconds(self, bench: Bench) -> dict[str, bytes]:
        return {name: encode(bench.names.meaning(name).format, value, None) for name, value in self.changes.items()}

    def _tell(self, bench: Bench, trying: Trying) -> None:
        """What was found until the link, or the unit, was gone: a part, so nothing is held against it."""
        if not bench.wanted("found"):
            bench.reading("found", trying.differences, access=trying.all)


def _untried(reasons: Mapping[str, int]) -> str:
    """A pass says nothing of these."""
    why = "; ".join(f"{reason} ({count})" for reason, count in reasons.items())
    return f"{counted(sum(reasons.values()), 'operation')} not tried: {why}"


def _in_short(found: list[str]) -> str:
    """The first of many differences: the matrix has them all."""
    more = f"; and {len(found) - _TOLD} more" if len(found) > _TOLD else ""
    return "; ".join(found[:_TOLD]) + more


def _too_short(seconds: float, tried: int) -> StepTimeout:
    """An answer that there was no time for says nothing of the unit."""
    return StepTimeout(
        f"{seconds:g} s were over after {counted(tried, 'operation')}, with more to try",
        advice=f"write within: {2 * seconds:g} s or more",
    )


def _levels_in(node: MappingNode) -> list[MappingNode]:
    """The pairings of a step as they are written."""
    levels = node.get("levels")
    found = [each for _, each in levels.entries.values()] if isinstance(levels, MappingNode) else []
    return [each for each in found if isinstance(each, MappingNode)]


def _is_late(part: Any) -> bool:
    """The whole of it, not something in it."""
    return part is LATE


def _unknown(names: Names, name: str) -> Misfit | None:
    try:
        names.meaning(name)
    except Misfit as misfit:
        return misfit
    return None


def _address(names: Names, name: str) -> Any:
    return None if _unknown(names, name) else names.meaning(name).address
