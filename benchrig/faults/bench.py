"""What goes wrong at the bench: no unit is to blame for it. A run may pass all the same, for the unit is sound."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from benchrig.errors import Cause
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.limits import Limits
from benchrig.radio.stacked import StackRadio
from benchrig.radio.virtual.advertising_spec import AdvertisingSpec
from benchrig.radio.virtual.device_spec import Beacon, DeviceSpec, OthersSpec, RssiSpec
from benchrig.radio.virtual.faults import Faults
from benchrig.radio.virtual.words import AddressText
from benchrig.values.quantity import Duration, Gain, Level

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Plain
    from benchrig.radio.radio import Radio

OF_BENCH: frozenset[Cause] = frozenset({"link", "station"})
_FOREIGN = 300
_SLOW = 0.02
_GONE = "the adapter is gone"


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for seconds in (0.5, 2, 10):
        says = f"The adapter is pulled out after {seconds:g} s."
        yield _fault(f"adapter gone after {seconds:g} s", says, _befalls(_unplugged(seconds)))
    late = _befalls(late_host(lambda: _SLOW))
    yield _fault("host slow", "The computer of the station hears of everything 20 ms late.", late)
    for kind, says, made in _ON_AIR:
        yield _fault(kind, says, _with_faults(made))
    yield _fault("foreign units", f"{_FOREIGN} foreign units are on the air.", _crowded)
    yield _fault("a second unit", "A second unit with the same name and data lies beside it.", _twice)
    yield _fault("wrong unit in the fixture", "Another product is in the fixture.", _exchanged)


def _fault(kind: str, says: str, change: Callable[[Scene], Scene]) -> Fault:
    return Fault(f"bench: {kind}", "bench", says, change, "serious", OF_BENCH)


_ON_AIR: tuple[tuple[str, str, Callable[[], Faults]], ...] = (
    ("nothing heard", "The antenna of the station is not connected.", lambda: Faults(advertising_loss=1.0)),
    ("link disturbed", "A disturbance ends the first link.", lambda: Faults(kill_at=60)),
    ("links not carried", "Something near the station jams all links.", lambda: Faults(loss=0.999)),
)


def _with_faults(made: Callable[[], Faults]) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, faults=made)


def _befalls(what: Callable[[Radio], None]) -> Callable[[Scene], Scene]:
    return lambda scene: replace(scene, befalls=(*scene.befalls, what))


def _unplugged(seconds: float) -> Callable[[Radio], None]:
    def befall(radio: Radio) -> None:
        if isinstance(radio, StackRadio) and radio.stack:
            asyncio.get_running_loop().call_later(seconds, radio.stack.host.lose, _GONE)

    return befall


def late_host(lateness: Callable[[], float]) -> Callable[[Radio], None]:
    """What the controller says waits so many seconds before the host hears of it, in its order."""

    def befall(radio: Radio) -> None:
        if not isinstance(radio, StackRadio) or radio.stack is None:
            return
        host, loop = radio.stack.host, asyncio.get_running_loop()
        waiting: deque[bytes | Plain] = deque()
        take: Any = host.on_packet
        last = 0.0

        def later(packet: bytes | Plain) -> None:
            nonlocal last
            last = max(last, loop.time() + lateness())
            waiting.append(packet)
            loop.call_at(last, lambda: take(waiting.popleft()))

        host.on_packet = later  # type: ignore[method-assign]

    return befall


def _crowded(scene: Scene) -> Scene:
    """They are heard well, and have nothing that a plan for this unit looks for."""
    interval = AdvertisingSpec(interval=Duration.of(0.5), connectable=False)
    weaker = RssiSpec(mean=Level.from_source("-75 dBm"), spread=Gain.from_source("6 dB"))
    others = OthersSpec(count=_FOREIGN, name="foreign {number}", advertising=interval, rssi=weaker)
    return replace(scene, devices=(*scene.devices, *others.beacons("foreign", scene.unit.air)))


def _twice(scene: Scene) -> Scene:
    unit = scene.unit
    name = f"second {unit.name}"
    second = Beacon(name, AddressText.made_from(name), unit.advertised, unit.rssi, unit.air)
    return replace(scene, devices=(*scene.devices, second))


def _exchanged(scene: Scene) -> Scene:
    """The unit itself is not there; what is there cannot be taken for it."""
    other = DeviceSpec(device="another product", rssi=scene.unit.rssi, air=scene.unit.air)
    return scene.with_unit(other)
