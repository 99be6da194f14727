"""access: every attribute of the table against what it must ask for, over links of rising protection."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, TypeAlias, cast

import msgspec

from benchrig.access.asking import ANSWER_WITHIN, Asking
from benchrig.access.rules import Over
from benchrig.access.trying import ENCRYPTED, Trying
from benchrig.errors import DeviceError, NoAnswer, StationError, StepFailed, StepTimeout, UsageError
from benchrig.radio.offers import NOT_SENT
from benchrig.radio.security import NONE, SMALLEST_KEY, Level, Paired
from benchrig.source.problem import counted
from benchrig.source.shape import LATE, Misfit, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.access_levels import SHORT_KEY, LevelPairing, Levels
from benchrig.steps.access_matrix import Laid, Matrix, lay
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.numbers import Numbers, paired
from benchrig.steps.pairing_readings import error_of
from benchrig.steps.payload import encode, misfit_of
from benchrig.steps.returning import connected_again
from benchrig.values.limit_keys import AnyValue

if TYPE_CHECKING:
    from benchrig.radio.table import Characteristic

Entry: TypeAlias = tuple[int, str, bytes | None]

AFTER = "after pairing"
# Seconds in which a unit that goes on sending over a new link is heard.
LISTENS = 3.0
# So many differences are told in a sentence.
_TOLD = 10


class Access(Step, kw_only=True):
    """Try every operation on every attribute over links of its own: without security first, then at each level, then
    without security again. The link of the steps before is ended, and none is left."""

    verb: ClassVar[str] = "access"
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
            message = f"the matrix is about links that are {_in_words(level)}, and levels has no way to them"
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
            await self._all_links(bench, trying)
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
        bench.reading("found", found, access=trying.all)
        bench.reading("elapsed", bench.since(started), "s")

    def _tell(self, bench: Bench, trying: Trying) -> None:
        """What was found until the link, or the unit, was gone: a part, so nothing is held against it."""
        if not bench.wanted("found"):
            bench.reading("found", trying.differences, access=trying.all)

    async def _all_links(self, bench: Bench, trying: Trying) -> None:
        """Of the ways that bond and of those that do not, each is gone a second time where it shows more by then."""
        laid = await self._fresh(bench)
        if bench.link.security.is_bonded:
            raise UsageError("the unit and benchrig are bonded", advice="add - unpair: before the access step")
        _check_level(bench.link.security.level or Level.NO_SECURITY, Level.NO_SECURITY)
        for line in laid.hidden:
            trying.hidden(*line)
        first = Over(Level.NO_SECURITY)
        await self._over(bench, trying, laid, first)
        for level in self.levels.barred:
            trying.barred(Over(level))
        if self.levels.bars_short_key:
            trying.barred(Over(Level.NO_SECURITY, words=SHORT_KEY), sized=True)
        for bonding in (False, True):
            ways = [(level, pairing) for level, pairing in self.levels.ways if pairing.bonding is bonding]
            for level, pairing in ways:
                await self._paired_over(bench, trying, level, pairing)
            for level, pairing in ways:
                if trying.lacks_values(Over(level)):
                    await self._paired_over(bench, trying, level, pairing)
            if ways and not bonding and trying.lacks_values(first):
                await self._over(bench, trying, await self._fresh(bench), first)
            if not bonding and (short := self.levels.short) is not None:  # a pairing ends the bond that was there
                await self._short_over(bench, trying, short)
        pairings = [*(pairing for _, pairing in self.levels.ways), *filter(None, [self.levels.short])]
        if pairings:
            bonded = any(pairing.bonding for pairing in pairings)
            await self._after(bench, trying, Over(Level.NO_SECURITY, bonded, AFTER))
        if self.levels.ways and trying.is_blind:
            await self._look(bench, trying)
        await bench.disconnect()

    async def _after(self, bench: Bench, trying: Trying, after: Over) -> None:
        """Without security again, where the radio has such a link to a device that it is bonded with."""
        laid = await self._fresh(bench)
        if bench.link.security.level is not Level.NO_SECURITY:
            trying.barred(after, why=ENCRYPTED)
            return
        await self._over(bench, trying, laid, after)
        await self._listen(bench, trying, laid, after)

    async def _paired_over(self, bench: Bench, trying: Trying, level: Level, pairing: LevelPairing) -> None:
        laid, is_first = await self._fresh(bench), level not in trying.reached
        before = await bench.link.outline(bench.time_left, values=False) if is_first else []
        await self._pair(bench, level, pairing)
        if is_first:
            after = await bench.link.outline(bench.time_left, values=False)
            trying.apart(_apart(bench, before, after), Over(level))
        trying.reached.add(level)
        await self._over(bench, trying, laid, Over(level), keep=pairing.bonding)

    async def _look(self, bench: Bench, trying: Trying) -> None:
        """Over the link that is protected most: what was changed over the links before, which do not show it."""
        laid, (level, pairing) = await self._fresh(bench), max(self.levels.ways, key=lambda each: each[0])
        await self._pair(bench, level, pairing)
        await trying.look(Asking(bench.link, lambda: bench.time_left), laid.subjects)

    async def _short_over(self, bench: Bench, trying: Trying, pairing: LevelPairing) -> None:
        """Over a link whose key is shorter than it could be, whatever its level is."""
        laid = await self._fresh(bench)
        result = await self._paired(bench, pairing, "encrypted with a short key")
        level = _level_after(bench, result)
        if level is None or result.key_size is None:
            raise StationError("this radio does not tell the size of the key", advice="test this with --radio hci:…")
        if result.key_size > pairing.key_size:
            raise DeviceError(f"expected a key of {pairing.key_size} bytes, found one of {result.key_size}")
        await self._over(bench, trying, laid, Over(level, words=SHORT_KEY, key_size=result.key_size))

    async def _listen(self, bench: Bench, trying: Trying, laid: Laid, over: Over) -> None:
        """A bond keeps subscriptions, and over a link without security they must be silent; then they are turned off."""
        kept = [subject for subject in laid.subjects if subject.handle in trying.kept]
        if not kept:
            return
        await bench.pause(LISTENS)
        asking = Asking(bench.link, lambda: bench.time_left)
        trying.unasked(asking, laid.subjects, over)
        encrypted = await bench.link.security.encrypt()
        if encrypted.failure != NONE:
            bench.note(f"subscriptions of the bond were not turned off: {encrypted.failure}")
            return
        for subject in kept:
            await asking.subscribe(cast("Characteristic", subject.attribute), subject.name)

    async def _over(self, bench: Bench, trying: Trying, laid: Laid, over: Over, *, keep: bool = False) -> None:
        asking = Asking(bench.link, lambda: bench.time_left)
        await trying.over(asking, laid.subjects, over, keep=keep)
        for subject, operation in laid.unnamed:
            trying.unnamed(subject, operation)

    async def _fresh(self, bench: Bench) -> Laid:
        """A new link, with the matrix over its table."""
        if bench.device.is_up:
            await bench.disconnect()
        await connected_again(bench, bench.now() + bench.time_left)
        return lay(self.access, bench.link.table, bench.names, writes=self.may_write, changes=self._seconds(bench))

    def _seconds(self, bench: Bench) -> dict[str, bytes]:
        return {name: encode(bench.names.meaning(name).format, value, None) for name, value in self.changes.items()}

    async def _pair(self, bench: Bench, level: Level, pairing: LevelPairing) -> None:
        result = await self._paired(bench, pairing, _in_words(level))
        _check_level(_level_after(bench, result), level)
        longest = max(self.access.sizes.values(), default=0)
        if result.key_size is not None and result.key_size < min(longest, pairing.key_size):
            raise DeviceError(f"expected a key of {longest} bytes or more, found one of {result.key_size}")

    async def _paired(self, bench: Bench, pairing: LevelPairing, link: str) -> Paired:
        result = await paired(bench, Numbers(bench, pairing))
        if result.failure != NONE:
            raise error_of(result, f"no link that is {link}: the pairing failed")
        if pairing.bonding and result.bonded is not False:
            bench.device.bonded_as = pairing
        return result


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


def _apart(bench: Bench, before: Iterable[Entry], after: Iterable[Entry]) -> list[str]:
    """The attributes that are in one of two tables."""
    told = {(handle, uuid) for handle, uuid, _ in before} ^ {(handle, uuid) for handle, uuid, _ in after}
    return [f"{bench.names.label(uuid)} (handle 0x{handle:04X})" for handle, uuid in sorted(told)]


def _levels_in(node: MappingNode) -> list[MappingNode]:
    """The pairings of a step as they are written."""
    levels = node.get("levels")
    found = [each for _, each in levels.entries.values()] if isinstance(levels, MappingNode) else []
    return [each for each in found if isinstance(each, MappingNode)]


def _is_late(part: Any) -> bool:
    """The whole of it, not something in it."""
    return part is LATE


def _level_after(bench: Bench, paired: Paired) -> Level | None:
    """Of the link; what the pairing says of it where the radio cannot look."""
    told = bench.link.security.level
    return paired.level if told is None else told


def _check_level(actual: Level | None, wanted: Level) -> None:
    """A link that is less, or more, would show what another level allows."""
    if actual is None:
        raise StationError(
            "this radio does not tell how far the link is protected", advice="test this with --radio hci:…"
        )
    if actual is not wanted:
        raise DeviceError(f"expected a link that is {_in_words(wanted)}, found one that is {_in_words(actual)}")


def _in_words(level: Level) -> str:
    return {Level.NO_SECURITY: "not encrypted", Level.SECURE_CONNECTIONS: "protected by Secure Connections"}.get(
        level, level.words
    )


def _unknown(names: Names, name: str) -> Misfit | None:
    try:
        names.meaning(name)
    except Misfit as misfit:
        return misfit
    return None


def _address(names: Names, name: str) -> Any:
    return None if _unknown(names, name) else names.meaning(name).address
