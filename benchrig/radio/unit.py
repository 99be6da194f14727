"""The device that is meant: found once, then held on to. Runs, desk, watch and session find it in this way alone."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from benchrig.errors import (
    AmbiguousDevice,
    DeviceNotFound,
    NotProven,
    WrongDevice,
)
from benchrig.radio.absence import Absence, Presence, too_short
from benchrig.radio.choosing import OF_PLAN, Advice, check_connectable, choose_unit, labels, not_heard
from benchrig.radio.identity import Addressed, Identity, is_private
from benchrig.radio.proof import another_device, check_address_fits, serial_of, serial_text
from benchrig.radio.scan import Ear, Report, Selection, Sighting

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.radio import Radio

# A second device that answers the selection too has this long to be heard.
LISTEN = 2.0
# How often it is looked whether the device has been heard; times of a sighting come from the reports.
_LOOK_EVERY = 0.05
# An address that was heard so short a time ago is still its own: the shortest that one may last (Core Vol 4 Part E 7.8.45).
_STAYS = 1.0


class Witness:
    """Is told what comes up while a device is looked for and connected to; this one lets it pass."""

    def note(self, text: str) -> None:
        """A sentence for the record or the person."""

    def seen(self, sighting: Sighting) -> None:
        """What was taken for the device."""


SILENT = Witness()


@dataclass
class Unit:
    """The device that the selection means. `identity` is fixed by the first success; from then on it is this device
    that is listened for and connected to, and never another one that fits as well.

    `offset` in dB is added to every level that is heard (fixture, cable). `label` is what the plan calls it, where it has
    several devices, and `others` are those: what is one of them is not this one."""

    radio: Radio
    selection: Selection
    advice: Advice = OF_PLAN
    offset: float = 0.0
    identity: Identity | None = None
    sighting: Sighting | None = None
    label: str = ""
    others: tuple[Unit, ...] = field(default=(), repr=False)
    _link: Link | None = None
    _absence: Absence | None = None
    # when it was given its power back
    _powered_at: float | None = None
    _beside: set[str] = field(default_factory=set)

    def let_go(self) -> None:
        """Whatever answers the selection next is the device."""
        self.identity = self.sighting = self._link = self._absence = self._powered_at = None
        self._beside = set()

    @property
    def absence(self) -> Absence | None:
        """Since its last link ended, or it was given its power back; None while it is connected, and without either."""
        link = self._link
        since = [at for at in (link.lost_at if link else None, self._powered_at) if at is not None]
        if not since or (link is not None and link.is_up):
            return None
        if self._absence is None or self._absence.since != max(since):
            self._absence = Absence(max(since))
        return self._absence

    def powered(self) -> None:
        """It was without power until now, so nobody can have heard it."""
        self._powered_at = asyncio.get_running_loop().time()

    def know_serial(self, data: bytes) -> None:
        """The serial number that was read over its link, or written."""
        if self.identity is not None:
            self.identity = replace(self.identity, serial=serial_text(data))

    def _bonded_as(self, identity: str) -> None:
        """The radio knows it by this identity address from now on; '' for no longer."""
        if self.identity is not None:
            self.identity = replace(self.identity, bonded_as=identity)

    def is_same(self, sighting: Addressed) -> bool:
        """Whether what was heard is the device, without a doubt."""
        return self.identity is not None and self.identity.is_same(sighting)

    def may_be(self, sighting: Sighting) -> bool:
        """Whether what was heard could be the device under an address that it has now, which nothing proves."""
        return (
            self.identity is not None
            and self.identity.rotates
            and not self.identity.is_known
            and self.selection.accepts(sighting)
        )

    def fitting(self, ear: Ear) -> list[Sighting]:
        """What may be the device of all that was heard: itself, and what fits, unless it is another device of the plan."""
        rest = self._without_others(ear).heard.values()
        at_any_level = self.selection.at_any_level
        return [sighting for sighting in rest if self.is_same(sighting) or at_any_level.accepts(sighting)]

    def follow(self, sighting: Sighting) -> None:
        """It was heard under this address last: that is the one to connect to."""
        self.sighting = sighting
        if self.identity is not None and self.identity.is_known:
            self.identity = self.identity.moved(sighting)

    @contextlib.asynccontextmanager
    async def listening(
        self,
        also: Callable[[Report], object] | None = None,
        *,
        active: bool = True,
        until: Callable[[Sighting], bool] | None = None,
    ) -> AsyncIterator[Ear]:
        """An Ear that hears everything while the context is open; each report goes to `also` too. `until` says whether
        that is enough."""
        ear = Ear(self._is_meant)
        anew = None if until is None else (lambda: not self._is_enough(ear, until))

        def heard(report: Report) -> None:
            if self.offset and report.rssi is not None:
                report = replace(report, rssi=report.rssi + self.offset)
            ear.add(report)
            if also is not None:
                also(report)

        self.radio.look_for(self.selection)
        async with self.radio.scanning(heard, active=active, anew=anew):
            yield ear

    async def find(
        self,
        listen: float,
        within: float,
        *,
        active: bool = True,
        also: Callable[[Report], object] | None = None,
        looking: Callable[[Ear], object] | None = None,
        until: Callable[[Sighting], bool] | None = None,
        to_connect: bool = False,
        witness: Witness = SILENT,
    ) -> Sighting:
        """Listen for at least `listen` seconds, and on until the device is heard or `within` is over. `looking` sees
        what was heard so far. `until` says of what was heard whether that is enough. With `to_connect` a device of changing
        addresses may be taken under another one: `connect` proves that it is the same. DeviceNotFound, AmbiguousDevice,
        WrongDevice."""
        loop = asyncio.get_running_loop()
        started = loop.time()
        async with self.listening(also, active=active, until=until) as ear:
            began = loop.time()
            while (past := loop.time() - started) < within:
                if past >= listen and self._is_settled(ear, past) and self._is_enough(ear, until):
                    break
                if looking is not None:
                    looking(ear)
                await asyncio.sleep(min(_LOOK_EVERY, max(within - past, 1e-6)))
        self._listened(began, ear)
        sighting = self._chosen(ear, loop.time() - started, to_connect)
        self._take(sighting, witness)
        self._know_neighbours(ear)
        return sighting

    async def present(self, listen: float, *, active: bool = True, witness: Witness = SILENT) -> Presence:
        """Listen for so many seconds, and say whether the device was heard. AmbiguousDevice for one of several of which none
        was heard before."""
        async with self.listening(active=active) as ear:
            started = asyncio.get_running_loop().time()
            await asyncio.sleep(listen)
        self._listened(started, ear)
        if self.identity is None and not self._is_matched(ear):
            return Presence(None, "no step before has heard the unit, so its silence proves nothing")
        sighting = self._known(ear) if self.identity else self._chosen(ear, listen, to_connect=False)
        if sighting is None:
            return Presence(None, self._doubt(ear, listen))
        self._take(sighting, witness)
        self._know_neighbours(ear)
        return Presence(sighting)

    async def connect(
        self,
        within: float,
        *,
        fresh: bool = False,
        again: bool = False,
        stranger: bool = False,
        witness: Witness = SILENT,
    ) -> Link:
        """Connect to the device that was found, as a `stranger` under an address that it has not seen. `fresh`: the radio
        forgets it first. `again`: an attempt has failed, so it is listened for first: the radio may have forgotten it, or
        hold a stale picture of it. ConnectFailed, DeviceNotFound, WrongDevice, StationError."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + within
        assert self.sighting is not None, "find the device first"
        if fresh:
            await self.radio.forget(self.sighting)
        if fresh or again or self._may_have_moved:
            await self.find(0.0, deadline - loop.time(), to_connect=True, witness=witness)
        try:
            link = await self._connect(deadline, stranger)
        except DeviceNotFound:
            # the radio has forgotten the device: no request was sent, so this was no attempt
            witness.note("the radio had forgotten the unit: scanned for it again")
            await self.find(0.0, deadline - loop.time(), to_connect=True, witness=witness)
            link = await self._connect(deadline, stranger)
        for remark in link.remarks:
            witness.note(remark)
        await self._prove(link, witness)
        link.on_bonded = self._bonded_as
        self._link = link
        return link

    # --- inside

    @property
    def _may_have_moved(self) -> bool:
        """Whether it may have another address by now, which would be known for its own."""
        if self.identity is None or self.sighting is None or not (self.identity.rotates and self.identity.is_known):
            return False
        return asyncio.get_running_loop().time() - self.sighting.last_at > _STAYS

    async def _connect(self, deadline: float, stranger: bool) -> Link:
        assert self.sighting is not None
        check_connectable(self.sighting)
        within = max(0.05, deadline - asyncio.get_running_loop().time())
        return await self.radio.connect(self.sighting, within, stranger=stranger)

    def _is_meant(self, sighting: Sighting) -> bool:
        return self.selection.accepts(sighting) or self.is_same(sighting)

    def _known(self, ear: Ear) -> Sighting | None:
        """The device itself, where it was heard: under its newest address when several are its own."""
        if self.identity is None:
            return None
        same = [sighting for sighting in ear.heard.values() if self.identity.is_same(sighting)]
        return max(same, key=lambda sighting: sighting.last_at, default=None)

    def _is_enough(self, ear: Ear, until: Callable[[Sighting], bool] | None) -> bool:
        return until is None or any(until(each) for each in ear.heard.values() if self._is_meant(each))

    def _listened(self, started: float, ear: Ear) -> None:
        """What this says about when the device was back."""
        if (absence := self.absence) is not None:
            back = [each.first_at for each in ear.heard.values() if self._is_back(each)]
            absence.listened(started, asyncio.get_running_loop().time(), min(back, default=None))

    def _is_back(self, sighting: Sighting) -> bool:
        """Whether it is the device, or one under another address that the next connection has to prove."""
        if self.identity is None:
            return self.selection.accepts(sighting)
        changed = self.identity.rotates and self.selection.accepts(sighting)
        return self.is_same(sighting) or (changed and not self._is_another(sighting))

    def _know_neighbours(self, ear: Ear) -> None:
        """Devices that fit as well and were heard beside it are other ones, whatever becomes of it."""
        fitting = ear.selected(self.selection.at_any_level)
        self._beside |= {each.address for each in fitting if not self.is_same(each)}

    def _is_another(self, sighting: Sighting) -> bool:
        """Whether what was heard is proven to be another device."""
        if self.identity is None or self.is_same(sighting):
            return False
        anothers = any(other._must_be(sighting) for other in self.others)
        return anothers or sighting.address in self._beside or self.identity.is_another(sighting)

    def _doubt(self, ear: Ear, listened: float) -> str:
        """Why it proves nothing that the device was not heard; '' where it does."""
        maybe = [each for each in ear.heard.values() if not self._is_another(each) and self._could_be(each)]
        if maybe:
            return f"what was heard may be the unit under another address: {labels(maybe)}"
        return too_short(listened, self.sighting.interval if self.sighting else None)

    def _could_be(self, sighting: Sighting) -> bool:
        """Whether nothing speaks against it. Of a device of changing addresses it is enough that nothing else is known."""
        if self.identity is not None and self.identity.rotates and is_private(sighting):
            return self.selection.may_accept(sighting)
        return self.selection.at_any_level.accepts(sighting)

    def _is_settled(self, ear: Ear, past: float) -> bool:
        if self.identity is None:
            return self._is_matched(ear)
        # an address that may have changed is not waited for longer than another device has to be heard
        changed = self.identity.rotates and past >= LISTEN and self._is_matched(self._possible(ear))
        return changed or self._known(ear) is not None

    def _possible(self, ear: Ear) -> Ear:
        """What was heard, but for what its key, or the bond with it, shows to be another device."""
        identity = self.identity
        return ear.without(identity.is_another) if identity is not None and identity.is_known else ear

    def _is_matched(self, ear: Ear) -> bool:
        return bool(self._without_others(ear).selected(self.selection))

    def _without_others(self, ear: Ear) -> Ear:
        """What was heard, but for what is another device of the plan."""
        return ear.without(lambda heard: any(other._must_be(heard) for other in self.others)) if self.others else ear

    def _must_be(self, heard: Sighting) -> bool:
        return self.is_same(heard) or (self.selection.means_one and self.selection.accepts(heard))

    def _chosen(self, ear: Ear, listened: float, to_connect: bool) -> Sighting:
        rest = self._without_others(ear)
        try:
            chosen = self._one_of(rest, listened, to_connect)
        except DeviceNotFound as error:
            left = rest.selected(self.selection)
            raise _of_anothers(error, [each for each in ear.selected(self.selection) if each not in left]) from error
        if not self._must_be(chosen):
            self._check_told_apart(chosen)
        return chosen

    def _check_told_apart(self, chosen: Sighting) -> None:
        """AmbiguousDevice for what may as well be another device of the plan."""
        for other in self.others:
            if other.may_be(chosen) or (other.identity is None and other.selection.accepts(chosen)):
                raise AmbiguousDevice(
                    f"ambiguous: {labels([chosen])} matches the selections of {self.label} and {other.label}",
                    advice="narrow devices: select: so that each fits one device, for example by name or address",
                )

    def _one_of(self, ear: Ear, listened: float, to_connect: bool) -> Sighting:
        if self.identity is None:
            return choose_unit(ear, self.selection, listened, self.advice)
        if (known := self._known(ear)) is not None:
            return known
        others = ear.selected(self.selection)
        if not others:
            raise not_heard(ear, self.selection, listened, self.advice, known=self.identity.address)
        possible = self._possible(ear)
        if not possible.selected(self.selection) and not self._beside:
            check_address_fits(self.identity, others, listened)
        if not self.identity.rotates or not possible.selected(self.selection):
            raise WrongDevice(
                f"the unit is {self.identity.address}, and it was not heard in {listened:.3g} s; "
                f"another device matches the selection now: {labels(others)}",
                advice="switch the others off, or see why the unit fell silent",
            )
        if not to_connect:
            raise NotProven(
                f"the unit's address changes, and {labels(others)} cannot be told from another device in a scan",
                advice="connect without a scan before it, so that its serial number can prove it, "
                "or give the identity key in device: select:",
            )
        return choose_unit(possible, self.selection, listened, self.advice)

    def _take(self, sighting: Sighting, witness: Witness) -> None:
        self.sighting = sighting
        if self.identity is None:
            self.identity = Identity.of(sighting, self.selection.key)
        elif self.identity.is_known and self.identity.is_same(sighting):
            self.identity = self.identity.moved(sighting)
        if self.identity.is_same(sighting):
            witness.seen(sighting)

    async def _prove(self, link: Link, witness: Witness) -> None:
        """See that a device of changing addresses is still the same: by its serial number, which is read the first time."""
        assert self.identity is not None
        assert self.sighting is not None
        identity, sighting = self.identity, self.sighting
        if not identity.rotates or identity.key is not None or (identity.bonded_as and identity.is_same(sighting)):
            return
        serial = await serial_of(link)
        if identity.is_same(sighting):
            self.identity = replace(identity, serial=identity.serial or serial)
            return
        if serial and serial == identity.serial:
            witness.note(
                f"the unit has changed its address to {sighting.address}: the serial number proves that it is the same"
            )
            self.identity = identity.moved(sighting)
            witness.seen(sighting)
            return
        await link.disconnect()
        raise another_device(identity, sighting, serial)


def _of_anothers(error: DeviceNotFound, anothers: list[Sighting]) -> DeviceNotFound:
    """The error that tells as well which devices would fit, but are other ones of the plan."""
    if not anothers:
        return error
    said = f"{labels(anothers)} fits, and is another device of the plan"
    return DeviceNotFound(f"{error.message}; {said}", advice="see devices: select: if it is the one that is meant here")
