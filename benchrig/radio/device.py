"""One device for as long as it is worked with: which one it is, its link, what listens to it. Runs, desk, watch, session and
draft reach a device in this way alone."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from benchrig.errors import BenchrigError, LinkLost, UsageError
from benchrig.radio.beside import Beside, beside_of
from benchrig.radio.link import DISCONNECT_WITHIN
from benchrig.radio.proof import SERIAL_NUMBER
from benchrig.radio.security import Level
from benchrig.radio.subscriptions import Listener, Subscriptions
from benchrig.radio.unit import SILENT, Unit, Witness

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.radio import Radio
    from benchrig.radio.table import Attribute, Characteristic

# What a subscription may take to be turned off after the time of whoever listened is over: what stays on disturbs what
# comes next. Less than the grace of a step.
TURN_OFF_WITHIN = 0.4


@dataclass
class DeviceSession:
    """The device that `unit` finds and holds on to, over at most one link at a time."""

    unit: Unit
    _link: Link | None = None
    _ended: bool = False
    # how the bench has paired with it, for as long as it has the bond
    bonded_as: Any = field(default=None, repr=False)
    # whether the unit has paired in this run, so that it may have a key for the bench though the bench has none
    has_paired: bool = False
    # whether the last pairing with it has failed: it may take no other one for a while
    was_refused: bool = False
    # the handles that were subscribed to when a link of a bonded unit ended: it keeps that, and may send there
    _kept: frozenset[int] = frozenset()
    _subscriptions: Subscriptions = field(init=False, repr=False)

    @property
    def radio(self) -> Radio:
        return self.unit.radio

    @property
    def beside(self) -> Beside:
        """Its console and the switch of its power. StationError when there is neither, or nothing says which is its own."""
        sighting = self.unit.sighting
        return beside_of(self.radio.beside, sighting.address if sighting is not None else "")

    @property
    def link(self) -> Link:
        """The last connection, lost or not. LinkLost when there was none."""
        if self._link is None:
            raise LinkLost("there is no connection")
        return self._link

    @property
    def last(self) -> Link | None:
        """The last connection, lost or not; None without one, and for one that was ended from here."""
        return None if self.was_ended else self._link

    @property
    def is_up(self) -> bool:
        return self._link is not None and self._link.is_up

    @property
    def is_busy(self) -> bool:
        """Whether a request to the device is unanswered."""
        return self._link is not None and self._link.is_up and self._link.is_busy

    @property
    def is_known(self) -> bool:
        """Whether it has been heard."""
        return self.unit.sighting is not None

    @property
    def was_ended(self) -> bool:
        """Whether the last link was ended from here, not lost."""
        return self._ended and not self.is_up

    def accept_loss(self) -> None:
        """The link was meant to be lost: it counts as ended."""
        self._ended = True

    @property
    def unasked(self) -> int:
        """How many values the link has brought without a subscription, of it or, when it is encrypted, of the bond."""
        kept = self._kept if self.link.security.level is not Level.NO_SECURITY else frozenset()
        return sum(count for handle, count in self.link.sent_unasked.items() if handle not in kept)

    @property
    def lost_reason(self) -> str:
        """Why the link is gone."""
        return self._link.lost_reason if self._link is not None else ""

    async def connect(
        self,
        within: float,
        *,
        fresh: bool = False,
        again: bool = False,
        stranger: bool = False,
        witness: Witness = SILENT,
    ) -> Link:
        """See Unit.connect; the last link counts no longer."""
        self._ended = False
        before = self._link.left_on if self._link is not None else frozenset()
        self._kept = self._kept | before if self.bonded_as is not None else frozenset()
        link = await self.unit.connect(within, fresh=fresh, again=again, stranger=stranger, witness=witness)
        self._link, self._subscriptions = link, Subscriptions(link)
        return link

    async def disconnect(self, within: float) -> None:
        """LinkLost when the link was lost before."""
        if not self.link.is_up:
            raise LinkLost(f"the link was lost before it was ended ({self.link.lost_reason})")
        await self.close(within)

    async def close(self, within: float = DISCONNECT_WITHIN) -> None:
        """End the link; nothing to do for one that is lost already, or never was."""
        self._ended = True
        if self._link is not None:
            await self._link.disconnect(within)

    def learn(self, attribute: Attribute, data: bytes) -> None:
        """The device told this value, or took it: by its serial number it may be known from now on."""
        if attribute.uuid == SERIAL_NUMBER:
            self.unit.know_serial(data)

    @contextlib.asynccontextmanager
    async def listening(
        self,
        characteristic: Characteristic,
        hear: Listener,
        doing: str,
        within: Callable[[], float],
        indicate: bool | None = None,
    ) -> AsyncIterator[None]:
        """`hear` gets what the characteristic sends while the context is open; it shares the subscription with all who
        listen. `within` says what is left of the time, `indicate` what is asked for where both are offered. Of two
        things that go wrong the first one is told."""
        is_open = True

        def heard(data: bytes) -> None:
            if is_open:
                hear(data)

        await self.subscribe(characteristic, heard, doing, within(), indicate)
        try:
            yield
        except BaseException:
            is_open = False
            with contextlib.suppress(BenchrigError):
                await self.unsubscribe(characteristic, heard, max(within(), TURN_OFF_WITHIN))
            raise
        is_open = False
        await self.unsubscribe(characteristic, heard, max(within(), TURN_OFF_WITHIN))

    async def subscribe(
        self, characteristic: Characteristic, hear: Listener, doing: str, within: float, indicate: bool | None = None
    ) -> None:
        if self._link is None:
            raise LinkLost("there is no connection")
        await self._subscriptions.add(characteristic, hear, doing, within, indicate)

    async def unsubscribe(
        self, characteristic: Characteristic, hear: Listener, within: float, doing: str = "unsubscribe"
    ) -> None:
        if self.is_up:
            await self._subscriptions.remove(characteristic, hear, doing, within)


class NoDevice(DeviceSession):
    """In a plan with several devices, what a step has that is about none of them."""

    @property
    def link(self) -> Link:
        raise UsageError("the step is about no device", advice="add device: and the name of one")
