"""What a device tells of itself on the air, from which address, how loud and when."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from benchrig.errors import Cause
from benchrig.faults.advertised import blocks
from benchrig.faults.fault import Fault, Scene, Weight
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, behaving, replaced, within
from benchrig.faults.parts import At
from benchrig.radio.virtual.behaviours import Sleep, StopAdvertising
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.directing_spec import ANYONE
from benchrig.radio.virtual.privacy_spec import PrivacySpec
from benchrig.radio.virtual.reaction_spec import ActionSpec
from benchrig.radio.virtual.words import AddressText, SleepTime
from benchrig.values.quantity import Duration, Level

# Who is not heard as he should be is not found, or not connected to.
ON_AIR: frozenset[Cause] = frozenset({"limit", "device", "link"})
_LATE, _STOPS = 10.0, 5.0
_DEFAULT_ADDRESS = "C0:00:00:00:00:01"


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    device = scene.unit
    for made in (_intervals, _level, _connectable, _timing, _address, _privacy):
        for kind, says, weight, change in made(device):
            yield _fault(device, kind, says, weight, change)
    for kind, says, weight, change in blocks(device):
        yield _fault(device, kind, says, weight, change)


def _fault(device: DeviceSpec, kind: str, says: str, weight: Weight, change: Change) -> Fault:
    return At("", "advertising", device).fault("advertising", kind, says, change, weight, ON_AIR)


def _intervals(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    sound = device.advertising.interval
    for kind, factor in (("interval doubled", 2.0), ("interval halved", 0.5), ("interval five times", 5.0)):
        interval = Duration.of(sound.seconds * factor)
        says = f"It advertises every {interval} and not every {sound}."
        yield kind, says, "serious", within("advertising", replaced(interval=interval))


def _level(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    rssi = device.rssi
    for kind, by, says in (
        ("10 dB too weak", -10, "It is heard 10 dB weaker than it should be, as with a bad antenna."),
        ("20 dB too weak", -20, "It is heard 20 dB weaker than it should be, as without its antenna."),
        ("20 dB too strong", 20, "It is heard 20 dB stronger than it should be."),
    ):
        mean = Level(rssi.mean.number + by, "dBm")
        yield kind, says, "serious", replaced(rssi=replace(rssi, mean=mean))


def _connectable(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    if device.advertising.connectable:
        alone = replaced(connectable=False, directed=None, connections=ANYONE, scan_requests=ANYONE)
        yield "not connectable", "Nobody can connect to it.", "serious", within("advertising", alone)
    else:
        change = within("advertising", replaced(connectable=True, scannable=None))
        yield "connectable", "Everybody can connect to it, which nobody promised.", "grave", change
    for key, does in (("connections", "connect to it"), ("scan_requests", "ask for its scan response")):
        says = f"Strangers can {does}, which is for those that it is bonded with."
        yield f"{key.replace('_', ' ')} of anyone", says, "grave", within("advertising", replaced(**{key: ANYONE}))
    says = "It does not call those that it is bonded with."
    yield "not directed", says, "serious", within("advertising", replaced(directed=None))


def _timing(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    stops = Duration.of(_STOPS)
    says = f"It stops advertising after {stops}."
    yield "stops after 5 s", says, "serious", behaving("faults", StopAdvertising(stop_advertising_after=stops))
    if device.advertising.connectable:
        yield from _after_a_link(device)


def _after_a_link(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    late = Duration.of(device.advertising.again_after.seconds + _LATE)
    says = f"It is not heard until {late} after the end of a link."
    yield "late after a link", says, "serious", within("advertising", replaced(again_after=late))
    asleep = ActionSpec(behaviours=(Sleep(sleep=SleepTime.from_source(SleepTime.FOR_GOOD)),))
    says = "It is not heard any more after its first link."
    yield "silent after a link", says, "serious", replaced(on_disconnect=[*device.on_disconnect, asleep])


def _address(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    own = device.own_address
    if device.own_address_type == "random":
        public = replaced(address=AddressText.from_source(own), address_type="public")
        yield "public address", "Its address is said to be a public one, and is none.", "minor", public
    else:
        static = _random(f"{own[0]}{own[1:]}")
        yield (
            "random address",
            "Its address is a random one, and not the public one that it was given.",
            "serious",
            static,
        )
    says = "It has the address of the developers' kit, which all units have that were given none."
    yield "default address", says, "serious", _random(_DEFAULT_ADDRESS)
    next_one = f"{own[:-2]}{(int(own[-2:], 16) + 1) % 256:02X}"
    says = "It has the address of the next unit."
    yield "address of a neighbour", says, "serious", replaced(address=AddressText.from_source(next_one))


def _random(address: str) -> Change:
    top = f"{int(address[:2], 16) | 0xC0:02X}"
    made = AddressText.from_source(top + address[2:])

    def change(device: Any) -> Any:
        kind = "random" if device.address_type == "random" else "static"
        return replace(device, address=made, address_type=kind)

    return change


def _privacy(device: DeviceSpec) -> Iterator[tuple[str, str, Weight, Change]]:
    if device.privacy is None:
        private = replaced(privacy=PrivacySpec(every=Duration.of(_LATE)))
        yield "address changes", "Its address changes again and again, which nobody promised.", "minor", private
        return
    for kind, says, change in (
        ("address never changes", "It never changes its address, so that it can be followed.", {"never_rotates": True}),
        ("address of another key", "Those that it is bonded with do not know its addresses.", {"another_key": True}),
        ("identity shown", "It shows its identity again and again, so that it can be followed.", {"identity_every": 3}),
    ):
        yield kind, says, "grave", within("privacy", replaced(**change))
    says = "It has no private addresses, so that it can be followed."
    yield "no private address", says, "grave", replaced(privacy=None)
