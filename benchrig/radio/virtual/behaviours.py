"""Every behaviour that a device file can ask for."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterable
from dataclasses import replace

from benchrig.radio.virtual.behaviour import Behaviour, Moment, On, Refused, Unanswered, Update, When
from benchrig.radio.virtual.words import AttErrorCode, Hex, HowMany, SleepTime
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration

ACCESS = frozenset({On.READ, On.WRITE})
REQUESTS = ACCESS | {On.REQUEST}
ANY_TIME = REQUESTS | {On.LATER, On.NOTIFY}
SENT = frozenset({On.READ, On.NOTIFY})
# Seconds that a device is away when its watchdog has bitten.
AWAY = 1.0
_TICK = 1e-3  # of a watchdog


class Delay(Behaviour, frozen=True, kw_only=True):
    """Wait before answering, sending or an action; when a link begins, before anything is answered on it."""

    on, is_pause = ANY_TIME | {On.OPEN}, True
    delay: Duration

    async def act(self, moment: Moment) -> None:
        await asyncio.sleep(self.delay.seconds)

    def lag(self, moment: Moment) -> float:
        return self.delay.seconds


class AttError(Behaviour, frozen=True, kw_only=True):
    """Answer with an error."""

    on, is_answer = REQUESTS, True
    att_error: AttErrorCode

    async def act(self, moment: Moment) -> None:
        raise Refused(self.att_error)


class Silent(Behaviour, frozen=True, kw_only=True):
    """Give no answer at all, or send nothing."""

    on, is_answer = REQUESTS | {On.NOTIFY}, True
    silent: bool = True

    async def act(self, moment: Moment) -> None:
        raise Unanswered


class Disconnect(Behaviour, frozen=True, kw_only=True):
    """End the link instead of answering."""

    on, is_answer = ANY_TIME, True
    disconnect: bool = True

    async def act(self, moment: Moment) -> None:
        moment.device.spawn(moment.device.disconnect(moment.connection))
        raise Unanswered


class Reboot(Behaviour, frozen=True, kw_only=True):
    """Drop the link without a word, and come back after so long."""

    on, is_answer = ANY_TIME, True
    reboot: Duration

    async def act(self, moment: Moment) -> None:
        moment.device.reboot(self.reboot.seconds)
        raise Unanswered


class Raw(Behaviour, frozen=True, kw_only=True):
    """Other octets in place of the value."""

    on = SENT
    raw: Hex

    def value(self, moment: Moment, value: bytes) -> bytes:
        return bytes(self.raw)


class Again(Behaviour, frozen=True, kw_only=True):
    """What was answered, or sent, the time before."""

    on = SENT
    again: bool = True

    def value(self, moment: Moment, value: bytes) -> bytes:
        return value if moment.last is None else moment.last


class CutTo(Behaviour, frozen=True, kw_only=True):
    """So many octets of the value, and no more."""

    on = SENT | {On.STORE}
    cut_to: int

    def misfits(self) -> Iterable[Misfit]:
        if self.cut_to < 0:
            yield Misfit("a number of bytes is not negative")

    def value(self, moment: Moment, value: bytes) -> bytes:
        return value[: self.cut_to]


class Late(Behaviour, frozen=True, kw_only=True):
    """A write is answered at once, and carried out so much later."""

    on = frozenset({On.STORE})
    late: Duration

    def lag(self, moment: Moment) -> float:
        return self.late.seconds


class Ignore(Behaviour, frozen=True, kw_only=True):
    """A write is answered, and nothing comes of it."""

    on = frozenset({On.STORE})
    ignore: bool = True

    def lag(self, moment: Moment) -> float:
        return math.inf


class Double(Behaviour, frozen=True, kw_only=True):
    """A value is sent twice."""

    on = frozenset({On.NOTIFY})
    double: bool = True

    def update(self, moment: Moment, update: Update) -> Update:
        return replace(update, copies=2)


class Swap(Behaviour, frozen=True, kw_only=True):
    """A value goes behind the one after it."""

    on = frozenset({On.NOTIFY})
    swap: bool = True

    def update(self, moment: Moment, update: Update) -> Update:
        return replace(update, is_held=True)


class Under(Behaviour, frozen=True, kw_only=True):
    """A value has the handle of another characteristic."""

    on = frozenset({On.NOTIFY})
    under: str

    def update(self, moment: Moment, update: Update) -> Update:
        return replace(update, under=self.under)


class Sleep(Behaviour, frozen=True, kw_only=True):
    """Stop advertising for so long, or until it starts again."""

    on = frozenset({On.WRITE, On.LATER})
    sleep: SleepTime

    async def act(self, moment: Moment) -> None:
        moment.device.sleep(self.sleep)


class DeleteBonds(Behaviour, frozen=True, kw_only=True):
    """Forget everybody that it has paired with."""

    on = frozenset({On.WRITE, On.LATER})
    delete_bonds: bool = True

    async def act(self, moment: Moment) -> None:
        moment.device.delete_bonds()


class StopAdvertising(Behaviour, frozen=True, kw_only=True):
    """Fall silent for good."""

    on = frozenset({On.START})
    stop_advertising_after: Duration

    async def act(self, moment: Moment) -> None:
        loop = asyncio.get_running_loop()
        moment.device.advertiser.until = loop.time() - moment.device.uptime + self.stop_advertising_after.seconds


class DisconnectAfter(Behaviour, frozen=True, kw_only=True):
    """End each connection after so long."""

    on = frozenset({On.CONNECT})
    disconnect_after: Duration

    async def act(self, moment: Moment) -> None:
        await asyncio.sleep(self.disconnect_after.seconds)
        await moment.device.disconnect(moment.connection)


class LostAfter(Behaviour, frozen=True, kw_only=True):
    """Leave each connection without a word after so long: the central finds out by its supervision time-out."""

    on = frozenset({On.CONNECT})
    lost_after: Duration

    async def act(self, moment: Moment) -> None:
        await asyncio.sleep(self.lost_after.seconds)
        moment.device.vanish(moment.connection)


class SlowerBy(Behaviour, frozen=True, kw_only=True):
    """With each connection it takes so much longer until anything is answered on it."""

    on = frozenset({On.OPEN})
    slower_by: Duration

    def lag(self, moment: Moment) -> float:
        return (moment.number - 1) * self.slower_by.seconds


class RefuseConnections(Behaviour, frozen=True, kw_only=True):
    """Leave so many connection requests unanswered."""

    on = frozenset({On.ASKED})
    refuse_connections: HowMany

    def lag(self, moment: Moment) -> float:
        return math.inf if self.when.nth(moment.number) <= self.refuse_connections else 0.0


class RestartEvery(Behaviour, frozen=True, kw_only=True):
    """A watchdog that nobody calms: the device starts again so long after each start."""

    on = frozenset({On.START})
    restart_every: Duration

    def misfits(self) -> Iterable[Misfit]:
        if self.restart_every.seconds < AWAY:
            yield Misfit(f"a device takes {AWAY:g} s to start, so it would never be there")

    async def act(self, moment: Moment) -> None:
        moment.device.spawn(self._bite(moment))

    async def _bite(self, moment: Moment) -> None:
        """It is up for no time while it is away or without power."""
        device, every = moment.device, self.restart_every.seconds
        while True:
            await asyncio.sleep(max(_TICK, every - device.uptime))
            if device.is_running and device.uptime >= every:
                device.reboot(AWAY)


# In the order in which they come to act.
BEHAVIOURS: tuple[type[Behaviour], ...] = (
    Delay,
    AttError,
    Silent,
    Disconnect,
    Reboot,
    Raw,
    Again,
    CutTo,
    Late,
    Ignore,
    Double,
    Swap,
    Under,
    Sleep,
    DeleteBonds,
    StopAdvertising,
    DisconnectAfter,
    LostAfter,
    SlowerBy,
    RefuseConnections,
    RestartEvery,
)


def in_order(behaviours: Iterable[Behaviour]) -> tuple[Behaviour, ...]:
    """As a device file has them, whatever the order of its keys: those of some times, then those of each; a kind that no
    file knows comes last."""
    places = {kind: place for place, kind in enumerate(BEHAVIOURS)}
    some = [one for one in behaviours if one.when != When()]
    each = [one for one in behaviours if one.when == When()]
    return (*some, *sorted(each, key=lambda one: places.get(type(one), len(places))))
