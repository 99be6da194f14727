"""The links of an `access` step: each is made anew, paired for as its level says, and tried."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TypeAlias, cast

from benchrig.access.asking import Asking
from benchrig.access.rules import Over
from benchrig.access.trying import ENCRYPTED, Trying
from benchrig.errors import DeviceError, StationError, UsageError
from benchrig.radio.bonds import lasting
from benchrig.radio.offers import ON_OTHER_RADIO
from benchrig.radio.security import NONE, Level, Paired
from benchrig.steps.access_levels import SHORT_KEY, LevelPairing, Levels
from benchrig.steps.access_matrix import Laid, Matrix, lay
from benchrig.steps.bench import Bench
from benchrig.steps.numbers import Numbers, paired
from benchrig.steps.pairing_readings import error_of
from benchrig.steps.patience import Patience
from benchrig.steps.returning import connected_again

if TYPE_CHECKING:
    from benchrig.radio.table import Characteristic

Entry: TypeAlias = tuple[int, str, bytes | None]

AFTER = "after pairing"
# Seconds in which a unit that goes on sending over a new link is heard.
LISTENS = 3.0


class _TooSoonError(Exception):
    """The pairing has to wait."""


@dataclass(frozen=True)
class AccessLinks:
    """`writes` are the names of what may be written, `changes` other values that it may have for a moment."""

    bench: Bench
    trying: Trying
    matrix: Matrix
    levels: Levels
    writes: Sequence[str]
    changes: Mapping[str, bytes]
    patience: Patience

    @property
    def _first(self) -> Over:
        """An earlier run, or an earlier step, may have left the unit a key for this bench."""
        unknown = lasting(self.bench.device.radio.bonds) or self.bench.device.has_paired
        return Over(Level.NO_SECURITY, None if unknown else False)

    @property
    def _asking(self) -> Asking:
        return Asking(self.bench.link, lambda: self.bench.time_left)

    async def try_all(self) -> None:
        """Leaves no link. A pairing ends the bond that was there, so the ways that bond come last."""
        await self._begin()
        await self._through([way for way in self.levels.ways if not way[1].bonding])
        if (short := self.levels.short) is not None:
            await self._patiently(lambda: self._short_over(short))
        await self._through([way for way in self.levels.ways if way[1].bonding])
        pairings = [*(pairing for _, pairing in self.levels.ways), *filter(None, [self.levels.short])]
        if pairings:
            bonded = any(pairing.bonding for pairing in pairings)
            await self._after(Over(Level.NO_SECURITY, bonded or self._first.has_key, AFTER))
        if self.levels.ways and self.trying.is_blind:
            await self._look()
        await self.bench.disconnect()

    async def _begin(self) -> None:
        """Without security, and what is known without any link."""
        laid = await self._unbonded()
        _check_level(self.bench.link.security.level or Level.NO_SECURITY, Level.NO_SECURITY)
        for line in laid.hidden:
            self.trying.hidden(*line)
        await self._over(laid, self._first)
        for level in self.levels.barred:
            self.trying.barred(Over(level))
        if self.levels.bars_short_key:
            self.trying.barred(Over(Level.NO_SECURITY, words=SHORT_KEY), sized=True)

    async def _unbonded(self) -> Laid:
        """A new link without a bond of the bench. What an earlier run has left is forgotten, as by a pairing."""
        laid, device = await self._fresh(), self.bench.device
        if not self.bench.link.security.is_bonded:
            return laid
        if device.bonded_as is not None:
            raise UsageError("the unit and benchrig are bonded", advice="add - unpair: before the access step")
        await self.bench.link.security.forget()
        self.bench.note("benchrig has forgotten the bond that an earlier run left; the unit may still have its own")
        return await self._fresh()

    async def _through(self, ways: Sequence[tuple[Level, LevelPairing]]) -> None:
        """Each of them, and a second time where it shows more by then; so without security, while there is no bond."""
        for level, pairing in ways:
            await self._patiently(partial(self._paired_over, level, pairing))
        for level, pairing in ways:
            if self.trying.lacks_values(Over(level)):
                await self._patiently(partial(self._paired_over, level, pairing))
        bonds = any(pairing.bonding for _, pairing in ways)
        if ways and not bonds and self.trying.lacks_values(self._first):
            await self._over(await self._fresh(), self._first)

    async def _patiently(self, work: Callable[[], Awaitable[None]]) -> None:
        """A unit that has refused a pairing before the step takes no other one for a while."""
        while True:
            try:
                return await work()
            except _TooSoonError:
                if self.bench.device.is_up:
                    await self.bench.disconnect()
            self.bench.note("the device refuses more attempts for a while after one that has failed: waited")
            await self.patience.wait()

    async def _after(self, after: Over) -> None:
        """Without security again, where the radio has such a link to a device that it is bonded with."""
        laid = await self._fresh()
        if self.bench.link.security.level is not Level.NO_SECURITY:
            self.trying.barred(after, why=ENCRYPTED)
            return
        await self._over(laid, after)
        await self._listen(laid, after)

    async def _paired_over(self, level: Level, pairing: LevelPairing) -> None:
        laid, is_first = await self._fresh(), level not in self.trying.reached
        before = await self.bench.link.outline(self.bench.time_left, values=False) if is_first else []
        await self._pair(level, pairing)
        if is_first:
            after = await self.bench.link.outline(self.bench.time_left, values=False)
            self.trying.apart(_apart(self.bench, before, after), Over(level))
        self.trying.reached.add(level)
        await self._over(laid, Over(level), keep=pairing.bonding)

    async def _look(self) -> None:
        """Over the link that is protected most: what was changed over the links before, which do not show it."""
        laid, (level, pairing) = await self._fresh(), max(self.levels.ways, key=lambda each: each[0])
        await self._pair(level, pairing)
        await self.trying.look(self._asking, laid.subjects)

    async def _short_over(self, pairing: LevelPairing) -> None:
        """Over a link whose key is shorter than it could be, whatever its level is."""
        laid = await self._fresh()
        result = await self._paired(pairing, "encrypted with a short key")
        level = _level_after(self.bench, result)
        if level is None or result.key_size is None:
            raise StationError("this radio does not tell the size of the key", advice=ON_OTHER_RADIO)
        if result.key_size > pairing.key_size:
            raise DeviceError(f"expected a key of {pairing.key_size} bytes, found one of {result.key_size}")
        await self._over(laid, Over(level, words=SHORT_KEY, key_size=result.key_size))

    async def _listen(self, laid: Laid, over: Over) -> None:
        """A bond keeps subscriptions, and over a link without security they must be silent; then they are turned off."""
        kept = [subject for subject in laid.subjects if subject.handle in self.trying.kept]
        if not kept:
            return
        await self.bench.pause(LISTENS)
        asking = self._asking
        self.trying.unasked(asking, laid.subjects, over)
        encrypted = await self.bench.link.security.encrypt()
        if encrypted.failure != NONE:
            self.bench.note(f"subscriptions of the bond were not turned off: {encrypted.failure}")
            return
        for subject in kept:
            await asking.subscribe(cast("Characteristic", subject.attribute), subject.name)

    async def _over(self, laid: Laid, over: Over, *, keep: bool = False) -> None:
        await self.trying.over(self._asking, laid.subjects, over, keep=keep)
        for subject, operation in laid.unnamed:
            self.trying.unnamed(subject, operation)

    async def _fresh(self) -> Laid:
        """A new link, with the matrix over its table."""
        if self.bench.device.is_up:
            await self.bench.disconnect()
        await connected_again(self.bench)
        return lay(self.matrix, self.bench.link.table, self.bench.names, writes=self.writes, changes=self.changes)

    async def _pair(self, level: Level, pairing: LevelPairing) -> None:
        result = await self._paired(pairing, level_in_words(level))
        _check_level(_level_after(self.bench, result), level)
        longest = max(self.matrix.sizes.values(), default=0)
        if result.key_size is not None and result.key_size < min(longest, pairing.key_size):
            raise DeviceError(f"expected a key of {longest} bytes or more, found one of {result.key_size}")

    async def _paired(self, pairing: LevelPairing, link: str) -> Paired:
        result = await paired(self.bench, Numbers(self.bench, pairing, purpose=f"a link that is {link}"))
        if self.patience.goes_on(result, self.bench.time_left):
            raise _TooSoonError
        if result.failure != NONE:
            raise error_of(result, f"no link that is {link}: the pairing failed")
        if pairing.bonding and result.bonded is not False:
            self.bench.device.bonded_as = pairing
        return result


def _apart(bench: Bench, before: Iterable[Entry], after: Iterable[Entry]) -> list[str]:
    """The attributes that are in one of two tables."""
    told = {(handle, uuid) for handle, uuid, _ in before} ^ {(handle, uuid) for handle, uuid, _ in after}
    return [f"{bench.names.label(uuid)} (handle 0x{handle:04X})" for handle, uuid in sorted(told)]


def _level_after(bench: Bench, paired: Paired) -> Level | None:
    """Of the link; what the pairing says of it where the radio cannot look."""
    told = bench.link.security.level
    return paired.level if told is None else told


def _check_level(actual: Level | None, wanted: Level) -> None:
    """A link that is less, or more, would show what another level allows."""
    if actual is None:
        raise StationError("this radio does not tell how far the link is protected", advice=ON_OTHER_RADIO)
    if actual is not wanted:
        raise DeviceError(
            f"expected a link that is {level_in_words(wanted)}, found one that is {level_in_words(actual)}"
        )


def level_in_words(level: Level) -> str:
    return {Level.NO_SECURITY: "not encrypted", Level.SECURE_CONNECTIONS: "protected by Secure Connections"}.get(
        level, level.words
    )
