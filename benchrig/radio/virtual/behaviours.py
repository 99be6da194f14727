"""Every behaviour that a device file can ask for."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

from benchrig.radio.virtual.behaviour import Behaviour, Moment, On, Refused, Unanswered
from benchrig.radio.virtual.words import AttErrorCode, SleepTime
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration

ACCESS = frozenset({On.READ, On.WRITE})
ANY_TIME = ACCESS | {On.LATER}


class Delay(Behaviour, frozen=True, kw_only=True):
    """Wait before answering, or before an action."""

    on, is_pause = ANY_TIME, True
    delay: Duration

    async def act(self, moment: Moment) -> None:
        await asyncio.sleep(self.delay.seconds)


class AttError(Behaviour, frozen=True, kw_only=True):
    """Answer with an error."""

    on, is_answer = ACCESS, True
    att_error: AttErrorCode

    async def act(self, moment: Moment) -> None:
        raise Refused(self.att_error)


class Silent(Behaviour, frozen=True, kw_only=True):
    """Give no answer at all."""

    on, is_answer = ACCESS, True
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


class RefuseConnections(Behaviour, frozen=True, kw_only=True):
    """Leave so many connection requests unanswered."""

    on = frozenset({On.START})
    refuse_connections: int

    def misfits(self) -> Iterable[Misfit]:
        if self.refuse_connections < 0:
            yield Misfit("a number of requests is not negative")

    async def act(self, moment: Moment) -> None:
        moment.device.advertiser.refusals = self.refuse_connections


# In the order in which they come to act.
BEHAVIOURS: tuple[type[Behaviour], ...] = (
    Delay,
    AttError,
    Silent,
    Disconnect,
    Reboot,
    Sleep,
    DeleteBonds,
    StopAdvertising,
    DisconnectAfter,
    RefuseConnections,
)


def in_order(behaviours: Iterable[Behaviour]) -> tuple[Behaviour, ...]:
    """As a device file has them, whatever the order of its keys; a kind that no file knows comes last."""
    places = {kind: place for place, kind in enumerate(BEHAVIOURS)}
    return tuple(sorted(behaviours, key=lambda one: places.get(type(one), len(places))))
