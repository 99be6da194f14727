"""pair: a bond with the unit, or a pairing that it has to refuse."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, get_args

import msgspec

from benchrig.errors import BenchrigError, DeviceError, LinkLost
from benchrig.radio.security import HIDDEN, LARGEST_KEY, LINK_LOST, NONE, REASONS, Method, Paired, Pairings, Side
from benchrig.radio.turns import Use
from benchrig.source.shape import Misfit, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.steps.attribute import Names
from benchrig.steps.base import Cap, ReadingType
from benchrig.steps.composite import Composite, CompositeBench, StepList
from benchrig.steps.numbers import SHOWN, Numbers, NumbersOfSteps, paired
from benchrig.steps.pairing_keys import Number, OutOfBand, PairAs, Pairing, Passkey, may_be
from benchrig.steps.pairing_readings import (
    FAILURES,
    OF_KEY,
    check_used,
    ended_or_staying,
    error_of,
    fails,
    is_broken,
    judges,
    limits_written,
    one_of,
    report,
)
from benchrig.steps.returning import connected_again
from benchrig.steps.rounds import RoundReadings

if TYPE_CHECKING:
    from benchrig.radio.link import Link

_READINGS = {
    "elapsed": ReadingType("number", "s", "from the request to the end of the pairing"),
    "failure": ReadingType(
        "text", "", f"why the pairing failed; '{NONE}' when the two are paired", wrong=one_of(FAILURES, "failure")
    ),
    "failed_by": ReadingType("text", "", "whose word that was", wrong=one_of(get_args(Side), "failed_by")),
    "method": ReadingType("text", "", "how the two made sure of each other", wrong=one_of(get_args(Method), "method")),
    **OF_KEY,
    "bonded": ReadingType("boolean", "", "whether both keep the keys"),
    "identity_address": ReadingType("text", "", "the address that the unit told as its own"),
}
_OF_SUCCESS = (*OF_KEY, "bonded")


class Pair(Composite, kw_only=True):
    """Pair with the unit, as a device with this capability. `steps` are carried out when the pairing asks for a number."""

    verb: ClassVar[str] = "pair"
    uses: ClassVar[Use] = Use.CONNECT
    usual: ClassVar[str] = "failure"
    stands_alone: ClassVar[bool] = True
    keeps_link: ClassVar[frozenset[str]] = frozenset({"steps"})
    late: ClassVar[frozenset[str]] = frozenset({"passkey", "number"})
    conceals: ClassVar[frozenset[str]] = frozenset({"passkey", "number", "out_of_band"})
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.BOND})
    within_default: ClassVar[float] = 60.0
    elsewhere: ClassVar[dict[str, str]] = {"io": "write it behind pair:", "oob": "write 'out_of_band'"}

    pair: PairAs
    mitm: bool | None = None
    pairing: Pairings = "either"
    bonding: bool = True
    key_size: int = LARGEST_KEY
    passkey: Passkey | None = None
    number: Number | None = None
    out_of_band: OutOfBand | None = None
    steps: StepList | None = None  # type: ignore[assignment]

    # --- before the run

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        yield from self._misfits_of(self.keys)

    def misfits_inside(self, steps: Mapping[str, bool], *, instant: bool) -> Iterable[Misfit]:
        """A number that a step in it tells is some number, whatever it will be."""
        if any(is_late(getattr(self, name)) for name in Pairing.__struct_fields__ if name not in self.late):
            return
        if is_late(self.passkey) or is_late(self.number):
            some = {"passkey": Passkey("000000"), "number": Number("000000")}
            late = {name: value for name, value in some.items() if is_late(getattr(self, name))}
            yield from self._misfits_of(msgspec.structs.replace(self.keys, **late))

    def _misfits_of(self, keys: Pairing) -> Iterator[Misfit]:
        wrong = [*keys.misfits()]
        yield from wrong
        if not wrong:
            yield from keys.contradicted(self.limits)
        for name in _OF_SUCCESS if fails(self.limits) else ():
            if name in self.limits:
                message = f"a pairing that fails has no {name}"
                yield Misfit(message, "take out this limit, or the one on failure", ("expect", name))

    @property
    def keys(self) -> Pairing:
        return Pairing(**{name: getattr(self, name) for name in Pairing.__struct_fields__})

    @classmethod
    def given_by(cls, node: MappingNode) -> frozenset[Cap]:
        """A bond, but for one that is not wanted."""
        bonding = node.get("bonding")
        unwanted = isinstance(bonding, Scalar) and bonding.value is False
        return frozenset() if unwanted or fails(limits_written(node)) else cls.gives

    @classmethod
    def values_inside(cls, node: MappingNode) -> dict[str, Any]:
        """The number that the bench shows, where it can show one."""
        capability = node.get("pair")
        shows = not isinstance(capability, Scalar) or capability.value not in ("keyboard", "none", None)
        return {SHOWN: None} if shows else {}

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return _READINGS

    # --- in the run

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        inner = RoundReadings(bench, {*self.limits, *self.save}, set())
        numbers = NumbersOfSteps(bench, self, self.keys, "steps", inner)
        link, started = bench.link, bench.now()
        result = await paired(bench, numbers)
        bench.reading("elapsed", bench.since(started), "s")
        await self._keep(bench, numbers.pairing, result)
        error = self._error(result) or self._unnoticed(result, numbers)
        if error is not None:
            raise error
        self._report(bench, result)
        await self._connect_again(bench, link, result)
        numbers.check_carried_out(result)
        if "method" not in self.limits:
            check_used(numbers.pairing, result)
        self._check_bonded(bench, result)
        inner.report()

    async def _keep(self, bench: CompositeBench, pairing: Pairing, result: Paired) -> None:
        """What the bench holds of the unit from now on: a bond that nobody wanted is no start for the next step."""
        is_paired = result.failure == NONE
        bonded = pairing.bonding if result.bonded is None else result.bonded
        bench.device.bonded_as = pairing if is_paired and bonded else None
        bench.device.has_paired |= is_paired
        if is_paired and bonded and fails(self.limits):
            bench.device.bonded_as = None
            await bench.own(bench.link.security.forget(), bench.time_left)
            bench.note("benchrig has removed the bond of a pairing that had to fail; the unit may still have its own")

    def _check_bonded(self, bench: CompositeBench, result: Paired) -> None:
        """What asks for a bond and says nothing of it gets one: later steps count on it. DeviceError."""
        if self.bonding and result.failure == NONE and result.bonded is False and not bench.wanted("bonded"):
            raise DeviceError(
                "the two are paired, but the device keeps no bond",
                advice="write bonding: false, or a limit on bonded, where it is not to keep one",
            )

    def _error(self, result: Paired) -> BenchrigError | None:
        """The failure as an error, where no limit judges it; a link that is lost for another reason is that to all."""
        judged = judges(self.limits.get("failure"), result.failure)
        return None if result.failure == NONE or judged else error_of(result)

    def _unnoticed(self, result: Paired, numbers: Numbers) -> BenchrigError | None:
        """Where the unit has to refuse, a failure that only the bench has noticed shows that the unit does not refuse."""
        wanted = self.limits.get("failed_by")
        meant = wanted is not None and may_be(wanted, "bench")
        if result.failed_by != "bench" or numbers.refused or not fails(self.limits) or meant:
            return None
        # the bench says no to who has less than the plan wants
        if result.failure == REASONS[0x03] and numbers.pairing.pairing == "secure connections":
            return None
        # what a side refuses once a passkey was asked for is what it has checked
        if result.failure == HIDDEN and result.method != "passkey":
            return None
        # out of band data of Secure Connections are checked by who has them, before the other side can refuse anything
        oob = numbers.pairing.out_of_band is not None and numbers.pairing.out_of_band.random is not None
        advice = "add failed_by: {equals: bench} to expect, since benchrig checks out_of_band first" if oob else ""
        message = f"the device did not refuse: benchrig alone noticed what was wrong ({result.failure})"
        return DeviceError(message, advice=advice)

    def _report(self, bench: CompositeBench, result: Paired) -> None:
        lack = "" if result.failure == NONE else f"the pairing failed: {result.failure}"
        if "failure" in self.limits or bench.wanted("failure"):
            if result.failure == HIDDEN:
                bench.not_measured("failure", bench.lacks("failure") or "the radio does not tell why a pairing failed")
            else:
                bench.reading("failure", result.failure)
        if "failed_by" in self.limits or bench.wanted("failed_by"):
            report(bench, "failed_by", result.failed_by, "the two are paired" if result.failure == NONE else "")
        for name in ("method", *_OF_SUCCESS):
            report(bench, name, getattr(result, name), lack)
        if bench.wanted("identity_address"):
            bench.reading("identity_address", result.identity_address or None, why=lack or "the unit told none")

    async def _connect_again(self, bench: CompositeBench, link: Link, result: Paired) -> None:
        """A system ends the link after a pairing that failed, or together with a bond, and a unit may. What follows finds a link
        all the same."""
        if result.failure != NONE:
            await bench.own(ended_or_staying(link), bench.time_left)
        if link.is_up:
            return
        forgotten = link.ended_here and result.failure == NONE
        if not forgotten and (result.failure == NONE or (result.failure != LINK_LOST and is_broken(link))):
            raise LinkLost(f"the link was lost at the end of the pairing ({link.lost_reason})")
        bench.device.accept_loss()
        if not forgotten:
            bench.note(f"connected again: the link ended when the pairing had failed ({link.lost_reason})")
        await connected_again(bench, bench.own)
