"""What goes wrong with links: they come late or not at all, end by themselves, bear too little, and what ends for all of
them: a device that starts again."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchrig.faults.fault import OF_LINK, Fault, Scene, Weight, on_unit
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, Mutation, behaving, replaced, within
from benchrig.faults.occasions import EACH, UNLIKELY, at, every, since, when
from benchrig.radio.virtual.behaviour import Behaviour, When
from benchrig.radio.virtual.behaviours import (
    AttError,
    Delay,
    Disconnect,
    DisconnectAfter,
    LostAfter,
    Reboot,
    RefuseConnections,
    RestartEvery,
    Silent,
    SlowerBy,
)
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.reaction_spec import ActionSpec
from benchrig.radio.virtual.words import HowMany
from benchrig.values.quantity import Duration

_AWAY = Duration.of(2)
_SMALLEST_MTU = 23  # Core Vol 3 Part F 3.2.8
_ALL, _ONE, _TWO = HowMany.from_source("all"), HowMany.from_source(1), HowMany.from_source(2)


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    if scene.unit.advertising.connectable:
        for kind, says, times, behaviour, weight in _OF_LINKS:
            yield _fault(kind, says, behaving("faults", when(times, behaviour)), weight)
        for kind, says, times, behaviour, weight in _OF_REQUESTS:
            yield _fault(kind, says, behaving("on_request", when(times, behaviour)), weight)
        yield from _sizes(scene.unit)
        yield from _afterwards()


def _fault(kind: str, says: str, change: Change, weight: Weight = "serious") -> Fault:
    name = f"link: {kind}"
    return Fault(name, "link", says, on_unit(Mutation(name, "", change)), weight, OF_LINK)


def _seconds(number: float) -> Duration:
    return Duration.of(number)


Row = tuple[str, str, When, Behaviour, Weight]

_OF_LINKS: tuple[Row, ...] = (
    ("slow to answer", "A new link answers nothing for 3 s.", EACH, Delay(delay=_seconds(3)), "serious"),
    ("first one slow", "The first link answers nothing for 3 s.", at(1), Delay(delay=_seconds(3)), "minor"),
    ("slower each time", "Each link needs 1 s more than the one before until it answers.", EACH,
     SlowerBy(slower_by=_seconds(1)), "serious"),
    ("needs two attempts", "The first request for a connection gets no answer.", EACH,
     RefuseConnections(refuse_connections=_ONE), "minor"),
    ("needs three attempts", "The first two requests for a connection get no answer.", EACH,
     RefuseConnections(refuse_connections=_TWO), "serious"),
    ("second one refused", "The second request for a connection gets no answer.", since(2),
     RefuseConnections(refuse_connections=_ONE), "serious"),
    ("takes one alone", "It takes one connection, and then no more.", since(2), RefuseConnections(refuse_connections=_ALL), "grave"),
    ("takes five alone", "It takes five connections, and then no more.", since(6), RefuseConnections(refuse_connections=_ALL),
     "grave"),
    ("each second one refused", "Each second request for a connection gets no answer.", every(2),
     RefuseConnections(refuse_connections=_ALL), "serious"),
    ("never comes about", "No request for a connection gets an answer.", EACH, RefuseConnections(refuse_connections=_ALL), "grave"),
    ("ends after 1 s", "Each link ends after 1 s.", EACH, DisconnectAfter(disconnect_after=_seconds(1)), "grave"),
    ("ends after 3 s", "Each link ends after 3 s.", EACH, DisconnectAfter(disconnect_after=_seconds(3)), "grave"),
    ("ends after 10 s", "Each link ends after 10 s.", EACH, DisconnectAfter(disconnect_after=_seconds(10)), "serious"),
    ("second one ends after 1 s", "The second link ends after 1 s.", at(2), DisconnectAfter(disconnect_after=_seconds(1)),
     "serious"),
    ("lost after 3 s", "Each link is lost after 3 s without a word.", EACH, LostAfter(lost_after=_seconds(3)), "grave"),
    ("first one lost after 2 s", "The first link is lost after 2 s without a word.", at(1), LostAfter(lost_after=_seconds(2)),
     "serious"),
    ("restarts after 5 s", "A watchdog that nobody calms restarts the device every 5 s.", EACH,
     RestartEvery(restart_every=_seconds(5)), "grave"),
    ("restarts after 15 s", "A watchdog that nobody calms restarts the device every 15 s.", EACH,
     RestartEvery(restart_every=_seconds(15)), "grave"),
)  # fmt: skip

_OF_REQUESTS: tuple[Row, ...] = (
    ("each request slow", "Each request is answered 300 ms late.", EACH, Delay(delay=_seconds(0.3)), "minor"),
    ("ends at the 10th request", "A link ends at its 10th request.", at(10), Disconnect(), "grave"),
    ("ends at the 25th request", "A link ends at its 25th request.", at(25), Disconnect(), "serious"),
    ("restarts at the 25th request", "The device starts again at the 25th request of a link.", at(25),
     Reboot(reboot=_AWAY), "grave"),
    ("silent from the 25th request on", "From the 25th request of a link on nothing is answered.", since(25), Silent(),
     "grave"),
    ("25th request not answered", "The 25th request of a link is not answered.", at(25), Silent(), "serious"),
    ("25th request refused", "The 25th request of a link gets an error.", at(25), AttError(att_error=UNLIKELY), "serious"),
    ("25th request late", "The 25th request of a link is answered only after 3 s.", at(25), Delay(delay=_seconds(3)),
     "minor"),
)  # fmt: skip


def _sizes(device: DeviceSpec) -> Iterator[Fault]:
    says = "Packets are the shortest that there are, so that long values come in pieces or are cut."
    yield _fault("smallest packets", says, replaced(mtu=_SMALLEST_MTU))
    if device.mtu > 2 * _SMALLEST_MTU:
        half = replaced(mtu=device.mtu // 2)
        yield _fault("half as large packets", "Packets have half the length that they should have.", half, "minor")


def _afterwards() -> Iterator[Fault]:
    restart = ActionSpec(behaviours=(Reboot(reboot=_AWAY),))
    yield _fault(
        "restarts at its end", "The device starts again when a link ends.", _then("on_disconnect", restart), "grave"
    )


def _then(occasion: str, action: ActionSpec) -> Any:
    return within(occasion, lambda present: [*present, action])
