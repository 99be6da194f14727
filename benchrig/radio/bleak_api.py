"""The fence around bleak: what benchrig's own backends tell beside bleak's interface, and what the system's ones tell
in passing. bleak hands its backend to nobody and keeps what it was given under private names: touched here alone."""

from __future__ import annotations

from abc import abstractmethod
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any, NamedTuple

from bleak.backends.client import BaseBleakClient

from benchrig.errors import InternalError

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

    from benchrig.radio.raw import Raw
    from benchrig.radio.security import LinkSecurity


class OwnBackend(BaseBleakClient):
    """A backend that knows more of a connection than bleak asks for. It writes any descriptor, a client characteristic
    configuration too, which bleak itself refuses."""

    # loop times of the connection and of the complete table; None before
    connected_at: float | None
    discovered_at: float | None
    # the link layer's reason; None while connected
    disconnect_reason: Enum | None
    # what the device did against the protocol that ended the link, in words; '' for nothing
    fault: str
    # notifications and indications that nobody asked for: how many, by handle
    unasked: dict[int, int]
    # whether the device has sent a Security Request, and the link was not encrypted since
    wants_security: bool
    # whether the last connection request got no answer (Core Vol 6 Part B 4.5.2)
    was_unanswered: bool

    @abstractmethod
    async def outline(self, *, values: bool = True) -> list[tuple[int, str, bytes | None]]:
        """Every attribute of the device's own table: handle, type, and with `values` the value of a declaration."""

    @abstractmethod
    async def ask(self, way: str, handle: int, uuid: str, data: bytes) -> None:
        """Send 'read blob', 'prepare write', … (link.Way); what 'prepare write' queues is taken back."""

    @abstractmethod
    async def flush(self) -> None:
        """Return once all that was written without response has crossed the air."""

    @abstractmethod
    def security(self, name: str) -> LinkSecurity:
        """The security of the connection, to a device that is called so."""

    @abstractmethod
    def raw(self) -> AbstractContextManager[Raw]:
        """Octets on any channel of the connection, while nothing else speaks on it."""

    @abstractmethod
    async def read_rssi(self) -> int:
        """The signal strength of the connection in dBm."""

    @property
    def within(self) -> float:
        """The time that a connection may take."""
        return self._timeout

    def tell_disconnected(self) -> None:
        """Tell the client that the link is gone."""
        if self._disconnected_callback:
            self._disconnected_callback()


def own_backend(client: BleakClient) -> OwnBackend | None:
    """The backend of a client, where it is one of ours. InternalError when it lacks something."""
    backend = client._backend
    if not isinstance(backend, OwnBackend):
        return None
    missing = [name for name in OwnBackend.__annotations__ if not hasattr(backend, name)]
    if missing:
        raise InternalError(f"{type(backend).__name__} has no {', '.join(missing)}")
    return backend


class RawAdvertisement(NamedTuple):
    """What our scanners put first into `platform_data`: what came over the air, and when (loop time). `data` is None
    where the controller kept a part of them only; `identity` is the identity address of a device that is bonded;
    `directed` advertising is for this bench alone."""

    data: bytes | None
    scan_response: bytes
    connectable: bool
    at: float
    name_is_short: bool = False
    identity: str = ""
    directed: bool = False


def raw_of(data: AdvertisementData) -> RawAdvertisement | None:
    """What came over the air, where the scanner is one of ours."""
    first = data.platform_data[0] if data.platform_data else None
    return first if isinstance(first, RawAdvertisement) else None


@dataclass(frozen=True)
class OwnDetails:
    """What our scanners know a device by. `address_type` is 'public' or 'random'."""

    address_type: str


def address_type(device: BLEDevice) -> str:
    """'public' or 'random'; '' where the backend does not tell."""
    details: Any = device.details
    if isinstance(details, OwnDetails):
        return details.address_type
    kind = details.get("props", {}).get("AddressType") if isinstance(details, dict) else ""  # of BlueZ
    return kind if kind in ("public", "random") else ""


def object_path(device: BLEDevice) -> str:
    """What BlueZ calls a device on the system bus."""
    return str(device.details["path"])
