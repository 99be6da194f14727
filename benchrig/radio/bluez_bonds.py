"""The bonds that benchrig has made Linux keep. They end with the run that made them, or with the next one when it died; what
others have paired is left alone."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.errors import StationError
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez import Bluez, KnownDevice
from benchrig.radio.security import Paired


@dataclass
class BluezBonds:
    """Of one adapter, by address: each one that a device goes by. `refused` says which keys a unit did not take, so that
    they had to go; `paired` are those that it made: of a run beside others its own alone."""

    bluez: Bluez
    claim: AdapterLock
    refused: dict[str, str] = field(default_factory=dict)
    # those of which BlueZ knows nothing any more, because of us
    _gone: set[str] = field(default_factory=set)
    _made: dict[str, Paired] = field(default_factory=dict)
    paired: set[str] = field(init=False)

    def __post_init__(self) -> None:
        self.paired = self.claim.paired

    def for_run(self) -> BluezBonds:
        """Those that another run makes. Whichever run dies, the claim knows of them all."""
        bonds = BluezBonds(self.bluez, self.claim)
        bonds.paired = set()
        return bonds

    def begin(self, address: str) -> None:
        """A pairing begins: what becomes of it is ours, however this process ends."""
        self.refused.pop(address, None)
        self._own(address)

    def made(self, device: KnownDevice, paired: Paired) -> None:
        for address in device.addresses:
            self._own(address)
            self._made[address] = paired

    def of(self, address: str) -> Paired | None:
        """What the last pairing came to, for as long as its key is there."""
        return self._made.get(address)

    def is_gone(self, address: str) -> bool:
        """Whether the device has to be heard again before a connection: BlueZ was told to forget it."""
        return address in self._gone

    def is_own(self, device: KnownDevice) -> bool:
        return bool(device.addresses & self.paired)

    async def remove(self, device: KnownDevice) -> None:
        """Of the device nothing is left. StationError for a bond that is none of ours."""
        if device.paired and not self.is_own(device):
            raise others(device)
        await self.bluez.remove(device)
        for address in device.addresses:
            self._made.pop(address, None)
        self._gone |= device.addresses
        self._disown(device.addresses)

    async def clear(self) -> list[str]:
        """Remove all that benchrig has paired with: their names."""
        own = [one for one in await self.bluez.devices() if self.is_own(one)] if self.paired else []
        for device in own:
            await self.remove(device)
        self._disown(frozenset(self.paired))
        return [device.name or device.address for device in own if device.paired]

    def _own(self, address: str) -> None:
        self.paired.add(address)
        self.claim.paired.add(address)
        self.claim.write()

    def _disown(self, addresses: frozenset[str]) -> None:
        self.paired -= addresses
        self.claim.paired -= addresses
        self.claim.write()


def others(device: KnownDevice) -> StationError:
    """A bond that somebody made before the run: it is not the run's to remove."""
    return StationError(
        f"Linux was paired with {device.name or device.address} before this run, and benchrig leaves that bond alone",
        advice=f"let Linux forget it, if nobody needs it: bluetoothctl remove {device.address}",
    )


def stale(device: KnownDevice) -> StationError:
    """A bond that somebody made before the run, and the unit does not know."""
    return StationError(
        f"{device.name or device.address} does not take the key that Linux has had of it since before this run",
        advice=f"let Linux forget it: bluetoothctl remove {device.address}",
    )
