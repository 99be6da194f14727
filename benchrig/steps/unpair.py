"""unpair: neither the bench nor the unit keeps the bond, and that is proven."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

import msgspec

from benchrig.errors import BenchrigError, DeviceError, LinkLost
from benchrig.radio.security import ANOTHER_KEY, LINK_LOST, NO_KEY, NONE, Paired
from benchrig.radio.turns import Use
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.attribute import Names
from benchrig.steps.base import SECONDS, Cap, ReadingType
from benchrig.steps.composite import Composite, CompositeBench, StepList
from benchrig.steps.encrypt import encrypted
from benchrig.steps.encrypt import error_of as not_encrypted
from benchrig.steps.numbers import SHOWN, NumbersOfSteps, paired
from benchrig.steps.pairing_keys import Number, Pairing, Passkey
from benchrig.steps.pairing_readings import check_used, ended_or_staying, error_of, is_broken, one_of
from benchrig.steps.returning import connected_again
from benchrig.steps.rounds import RoundReadings

ACCEPTED = "accepted"
_OLD_KEY = {NONE: ACCEPTED, NO_KEY: NO_KEY, ANOTHER_KEY: ANOTHER_KEY}
_PROOFS = ("old_key", "pairs_again")


class Unpair(Composite, kw_only=True):
    """Make the unit forget the bond by `steps`; then see on a new link that the old key no longer encrypts, and that the unit
    pairs anew. Without steps and limits the bench alone forgets, and nothing is proven."""

    verb: ClassVar[str] = "unpair"
    uses: ClassVar[Use] = Use.CONNECT
    usual: ClassVar[str] = "old_key"
    parts: ClassVar[tuple[str, ...]] = ("steps", "numbers", "clear")
    stands_alone: ClassVar[bool] = True
    keeps_link: ClassVar[frozenset[str]] = frozenset({"numbers"})
    connects_for: ClassVar[frozenset[str]] = frozenset({"numbers", "clear"})
    bears_loss: ClassVar[bool] = True
    late: ClassVar[frozenset[str]] = frozenset({"passkey", "number"})
    conceals: ClassVar[frozenset[str]] = frozenset({"passkey", "number"})
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.BOND})
    ends: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK, Cap.BOND})
    within_default: ClassVar[float] = 120.0

    unpair: None
    bonding: bool = False
    passkey: Passkey | None = None
    number: Number | None = None
    steps: StepList | None = None  # type: ignore[assignment]
    numbers: StepList | None = None
    clear: StepList | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.bonding and self.clear is None:
            advice = "add clear: with the steps that make the unit forget it"
            yield Misfit("with bonding the unit keeps the bond of the proof", advice, ("bonding",))
        if self.clear is not None and not self.bonding:
            yield Misfit("without bonding the proof leaves nothing to clear", "take out clear", ("clear",))
        for name in ("numbers", "passkey", "number", "bonding") if not self._proves else ():
            if getattr(self, name):
                message = f"nothing is proven here, so {name} is not used"
                yield Misfit(message, "add steps: with what makes the unit forget, or a limit on old_key", (name,))

    @property
    def _proves(self) -> bool:
        """Whether the unit has to show that it has forgotten."""
        named = {*self.limits, *(self.save if isinstance(self.save, dict) else ())}
        return self.steps is not None or not named.isdisjoint(_PROOFS)

    @classmethod
    def values_inside(cls, node: MappingNode) -> dict[str, Any]:
        return {SHOWN: None}

    @classmethod
    def after_bond(cls, node: MappingNode, made: MappingNode) -> Misfit | None:
        """The number of the new pairing comes from somewhere too."""
        proves = node.get("steps") is not None or node.get("expect") is not None
        if not proves or made.get("steps") is None:
            return None
        said = "pairs anew, and steps told the number of the pairing before"
        for key in ("passkey", "number"):
            told = made.get(key)
            if told is not None and has_reference(told) and node.get(key) is None:
                return Misfit(said, f"add {key}: as there, and numbers: with these steps")
        written = any(node.get(key) is not None for key in ("numbers", "passkey", "number"))
        return None if written else Misfit(said, "add numbers: with these steps")

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        what = f"what the unit does with the key of the bond: {', '.join(_OLD_KEY.values())}"
        return {
            "old_key": ReadingType("text", "", what, wrong=one_of(_OLD_KEY.values(), "old_key")),
            "pairs_again": ReadingType("boolean", "", "whether the unit takes a new pairing"),
            "elapsed": SECONDS,
        }

    # --- in the run

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        started, inner = bench.now(), RoundReadings(bench, {*self.limits, *self.save}, set())
        link = bench.device.last
        await self._carry_out(bench, "steps", inner)
        try:
            if self._proves:
                await self._prove(
                    bench, inner, broken=link is not None and is_broken(link) and not bench.device.was_ended
                )
            else:
                bench.note("benchrig alone has forgotten the bond: nothing is proven about the unit")
        finally:
            await self._forget(bench)
        bench.reading("elapsed", bench.since(started), "s")
        inner.report()

    async def _carry_out(self, bench: CompositeBench, part: str, inner: RoundReadings) -> None:
        """InnerError for what did not pass: a unit that was not told to forget proves nothing."""
        if getattr(self, part) is None:
            return
        came = await bench.inside.run(part, watch=inner)
        if came.error is not None:
            raise came.error

    async def _prove(self, bench: CompositeBench, inner: RoundReadings, *, broken: bool) -> None:
        """`broken`: the link ended in the steps, and nobody had ended it."""
        await self._connect_anew(bench)
        old_key = await self._old_key(bench)
        bench.reading("old_key", old_key)
        if old_key == ACCEPTED and broken:
            raise LinkLost(
                "the link was lost while the device was made to forget the bond, and the old key still encrypts"
            )
        if old_key != NO_KEY and "old_key" not in self.limits:
            raise _kept(old_key)
        if old_key != ACCEPTED:
            await bench.own(ended_or_staying(bench.link), bench.time_left)
        if not bench.device.is_up:
            await self._connect_anew(bench)
        await self._pair_anew(bench, inner)
        if self.bonding:
            await self._carry_out(bench, "clear", inner)
            await self._connect_anew(bench)
            if (left := await self._old_key(bench)) != NO_KEY:
                raise _kept(left)

    async def _connect_anew(self, bench: CompositeBench) -> None:
        """A link on which nothing has been encrypted yet."""
        if bench.device.is_up:
            await bench.own(bench.disconnect(), bench.time_left)
        bench.device.accept_loss()
        await connected_again(bench, bench.own)

    async def _old_key(self, bench: CompositeBench) -> str:
        result = await bench.own(encrypted(bench.link.security), bench.time_left)
        if result.failure in _OLD_KEY:
            return _OLD_KEY[result.failure]
        error = not_encrypted(result)
        assert error is not None  # a link that is encrypted is among these
        raise error

    async def _pair_anew(self, bench: CompositeBench, inner: RoundReadings) -> None:
        numbers = NumbersOfSteps(bench, self, self._keys(bench.device.bonded_as), "numbers", inner)
        result = await paired(bench, numbers)
        does = result.failure == NONE
        if not does and ("pairs_again" not in self.limits or result.failure == LINK_LOST):
            bench.reading("pairs_again", does)
            raise _refused(result)
        bench.reading("pairs_again", does, telling=lambda sentence: f"{sentence} ({result.failure})")
        if does:
            numbers.check_carried_out(result)
            check_used(numbers.pairing, result)

    def _keys(self, made: Pairing) -> Pairing:
        """Those of the last pairing, but for what is written here."""
        written = {name: value for name in ("passkey", "number") if (value := getattr(self, name)) is not None}
        return msgspec.structs.replace(made, bonding=self.bonding, **written)

    async def _forget(self, bench: CompositeBench) -> None:
        bench.device.bonded_as = None
        await bench.own(bench.link.forget_bond(), bench.time_left)
        if bench.device.is_up:
            await bench.own(bench.disconnect(), bench.time_left)
        bench.device.accept_loss()


def _kept(old_key: str) -> BenchrigError:
    said = "the old key still encrypts" if old_key == ACCEPTED else "the device still has a key for this station"
    return DeviceError(
        f"the device keeps the bond: {said}", advice="see whether the device has taken what makes it forget"
    )


def _refused(result: Paired) -> BenchrigError:
    error = error_of(result, "the device has forgotten the bond, and the new pairing failed")
    if not error.advice:
        error.advice = "if the device refuses to pair without bonding, write bonding: true and clear:"
    return error
