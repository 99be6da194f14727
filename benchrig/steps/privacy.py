"""privacy: which addresses the unit has while it advertises, how long each, and what stays the same over them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from benchrig.errors import DeviceNotFound, UsageError, WrongDevice
from benchrig.radio.choosing import not_heard
from benchrig.radio.identity import Identity
from benchrig.radio.trackable import constant, continues
from benchrig.radio.trail import LEAST, LEAST_HIDDEN, MISSED, Trail, trail_of
from benchrig.radio.turns import Use
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.heard_addresses import KINDS, RESOLVABLE, HeardAddress, HeardAddresses
from benchrig.values.limit import Limit
from benchrig.values.quantity import Duration, is_number

# What the step takes beside listening, in seconds.
_BESIDE = 5.0
# An address of every length that a limit allows, or forbids, shows itself in so many times that length.
_TIMES = 2
# Two addresses of one unit do not overlap by more, in seconds; a system tells what it heard later.
_BLUR, _BLUR_HIDDEN = 0.05, 2.0
_HIDDEN = "the operating system hides the addresses of devices, or their kinds"
_RESOLVED = "the operating system resolves the addresses of a bonded device, and shows its identity address"
_NO_KEY = "no identity key of the unit is known: give it as device: select: identity_key, or pair before"
_SAME = "the unit did not change its address"
_UNPROVEN = "nothing that was heard is proven to be the unit"


READINGS: dict[str, ReadingType] = {
    "address_kinds": ReadingType("list", "", "kinds of its addresses, in the order of time"),
    "addresses": ReadingType("number", "", "how many different addresses it had"),
    "resolves": ReadingType(
        "boolean", "", "whether each resolvable address was made with the identity key of the unit"
    ),
    "rotates_after": ReadingType("number", "s", "how long each address lasted", many=True),
    "constant": ReadingType("list", "", "advertised data that were the same under every address"),
    "continues": ReadingType("list", "", "advertised data with a number that counts on from one address to the next"),
    "count": ReadingType("number", "", "advertising reports of the unit"),
}


class Privacy(Step, kw_only=True):
    """Listen for so long, to the unit alone: by its identity key, the bond, or where nothing else fits the selection."""

    verb: ClassVar[str] = "privacy"
    uses: ClassVar[Use] = Use.HEAR
    usual: ClassVar[str] = "rotates_after"
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})
    tries_again: ClassVar[bool] = False

    privacy: Duration

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        listens = self.privacy.seconds
        if listens == 0:
            yield Misfit("it has to listen for some time", "for example: 35 min", ("privacy",))
        if self.within is not None and self.within.seconds < listens:
            message = f"within {self.within} ends before the {self.privacy} of listening are over"
            yield Misfit(message, f"write within: {listens + _BESIDE:g} s or more, or leave it out", ("within",))
        longest = self._longest()
        if longest is not None and listens < _TIMES * longest:
            message = f"{self.privacy} is too short to tell whether an address lasts {longest:g} s"
            yield Misfit(message, f"write privacy: {_TIMES * longest:g} s or more", ("privacy",))
        for name, limit in self.limits.items():
            if isinstance(limit, Limit):
                yield from _misfits_of(name, limit)

    def _longest(self) -> float | None:
        """The longest time that the limit on `rotates_after` names; None where it names none."""
        limit = self.expect.get("rotates_after") if isinstance(self.expect, dict) else None
        try:
            bound = limit.bind("number", "s") if isinstance(limit, Limit) else None
        except Misfit:  # told where the limits are checked
            return None
        return (
            max((float(edge) for edge in (bound.low, bound.high) if is_number(edge)), default=None) if bound else None
        )

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return READINGS

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else self.privacy.seconds + _BESIDE

    @property
    def title(self) -> str:
        return f"privacy {self.privacy}"

    async def run(self, bench: Bench) -> None:
        unit, hidden = bench.device.unit, bench.device.radio.repeats_hidden
        heard, begin = HeardAddresses(bench.names), bench.now()
        async with unit.listening(heard.hear, until=lambda sighting: False) as ear:
            await bench.pause(self.privacy.seconds)
            end = bench.now()
        own = heard.of(unit, ear)
        if not own:
            await bench.check_radio()
            if bench.device.is_up:
                raise UsageError("the unit is connected, and was not heard", advice="add - disconnect: before the step")
            known = unit.identity.address if unit.identity else ""
            raise not_heard(ear, unit.selection, end - begin, unit.advice, known=known)
        patience = _patience(own, LEAST_HIDDEN if hidden else LEAST)
        trail = trail_of(own, begin, end, patience, _BLUR_HIDDEN if hidden else _BLUR)
        await self._report(bench, trail, begin)

    async def _report(self, bench: Bench, trail: Trail[HeardAddress], begin: float) -> None:
        identity = bench.device.unit.identity
        assert identity is not None, "the step needs a unit that was found"
        bench.reading("count", sum(each.count for each in trail.tracks))
        if why := _hidden(bench, trail.turns[-1].track):
            _leave_open(bench, READINGS, why)
            return
        self._report_key(bench, identity, trail)
        if not any(turn.track.is_proven for turn in trail.turns):
            _check_known(identity, trail.turns[0].track)
            _leave_open(bench, READINGS.keys() - {"resolves"}, _UNPROVEN)
            return
        if trail.holes:
            await bench.check_radio()
            raise _silent(trail, begin)
        bench.note(_told_by(identity, trail))
        self._report_addresses(bench, trail, begin)
        bench.device.unit.follow(trail.turns[-1].track.newest)

    def _report_key(self, bench: Bench, identity: Identity, trail: Trail[HeardAddress]) -> None:
        if not identity.is_known:
            bench.not_measured("resolves", _NO_KEY)
            return
        resolved = [each.resolves(identity.key) for each in trail.tracks if each.kind == RESOLVABLE]
        bench.reading("resolves", all(resolved) if resolved else None, why="the unit had no resolvable private address")

    def _report_addresses(self, bench: Bench, trail: Trail[HeardAddress], begin: float) -> None:
        bench.reading("address_kinds", [*dict.fromkeys(each.kind for each in trail.tracks)])
        bench.reading("addresses", len(trail.tracks))
        lasted = bench.stream("rotates_after", "s")
        for seconds in trail.lasted(begin):
            lasted.add(round(seconds, 6))
        lasted.close()
        contents = [each.content for each in trail.tracks]
        for name, look in (("constant", constant), ("continues", continues)):
            bench.reading(name, look(contents) if len(contents) > 1 else None, why=_SAME)


def _misfits_of(name: str, limit: Limit) -> Iterable[Misfit]:
    """Limits that would pass because of what they do not name."""
    for key in limit.keys():  # noqa: SIM118 - a limit is no mapping
        value = getattr(limit, key)
        if name in ("constant", "continues") and key in ("contains", "lacks", "differs"):
            message = f"{key} says nothing of what it does not name, so a unit that can be tracked would pass"
            yield Misfit(message, "write equals: and the list of what may stay the same", ("expect", name, key))
        elif name == "address_kinds":
            words = value if isinstance(value, list) else [value]
            for word in [word for word in words if isinstance(word, str) and word not in KINDS]:
                yield Misfit(f"a kind of address is never '{word}'", suggest(word, KINDS), ("expect", name, key))


def _leave_open(bench: Bench, names: Iterable[str], why: str) -> None:
    for name in names:
        if name != "count":
            bench.not_measured(name, why)


def _check_known(identity: Identity, first: HeardAddress) -> None:
    """WrongDevice where nothing could ever prove an address to be the unit's."""
    if not identity.is_known:
        raise WrongDevice(
            f"the unit's address changes, and {first.address} cannot be told from another device",
            advice="listen right after the scan that found the unit, or give device: select: identity_key",
        )


def _patience(addresses: Iterable[HeardAddress], least: float) -> float:
    """Of a unit on the air no gap between two reports is longer."""
    intervals = [each.sighting.interval for each in addresses if each.sighting is not None]
    return max([least, *(MISSED * interval for interval in intervals if interval is not None)])


def _hidden(bench: Bench, newest: HeardAddress) -> str:
    """Why nothing can be said of the addresses on this radio; '' where it can."""
    if not newest.kind:
        return _HIDDEN
    identity = bench.device.unit.identity
    return _RESOLVED if bench.device.radio.repeats_hidden and identity and identity.bonded_as else ""


def _told_by(identity: Identity, trail: Trail[HeardAddress]) -> str:
    """How the addresses were told to be the unit's."""
    how = "by the selection alone: nothing else matched it meanwhile"
    if trail.is_proven and identity.is_known:
        how = "by the identity key of the plan" if identity.key is not None else "by the bond"
    elif trail.is_proven:
        how = "by the address"
    beside = f"; others that matched the selection: {len(trail.beside)}" if trail.beside else ""
    return f"the unit was told {how}{beside}"


def _silent(trail: Trail[HeardAddress], begin: float) -> DeviceNotFound:
    low, high = max(trail.holes, key=lambda hole: hole[1] - hole[0])
    return DeviceNotFound(
        f"the unit was not heard for {high - low:.3g} s, from {low - begin:.3g} s on",
        advice="check that the unit keeps advertising, and that its identity key is the one of device: select: or of the bond",
    )
