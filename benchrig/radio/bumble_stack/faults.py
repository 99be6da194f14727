"""What a client of this stack says of a device, or of its caller, where bleak has no exception of its own."""

from __future__ import annotations

from bleak.exc import BleakError


class DeviceFault(BleakError):
    """The device broke the protocol: it sent what is no PDU, or no answer to what was asked."""


class NotOffered(BleakError):
    """The characteristic has not what the request needs."""


class TooLong(BleakError):
    """More bytes than a write without response carries on this link."""
