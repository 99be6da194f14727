"""Errors of bleak, its backends and the operating system -> errors of benchrig. The only place that knows them."""

from __future__ import annotations

import re
from collections.abc import Callable

from bleak import exc as bleak_exc

from benchrig.errors import (
    AttError,
    AttributeMissing,
    BenchrigError,
    ConnectFailed,
    ConnectTimeout,
    DeviceNotFound,
    InternalError,
    LinkError,
    LinkLost,
    MalformedPdu,
    NoAnswer,
    PropertyMissing,
    StationError,
    UnfitValue,
    WantsPairing,
)
from benchrig.radio.bumble_stack.faults import DeviceFault, NotOffered, TooLong
from benchrig.values.att_errors import INSUFFICIENT, INSUFFICIENT_AUTHORIZATION
from benchrig.values.catalogue import att_error_name

# What is started on most Linux systems by systemd; what else starts it is not for us to know.
START_BUS = "start D-Bus and the Bluetooth service, where there is systemd: systemctl start dbus bluetooth"
START_SERVICE = "start the Bluetooth service, where there is systemd: systemctl start bluetooth"
RESTART_SERVICE = "restart the Bluetooth service, where there is systemd: systemctl restart bluetooth"

_Reason = bleak_exc.BleakBluetoothNotAvailableReason

NOT_AVAILABLE: dict[bleak_exc.BleakBluetoothNotAvailableReason, tuple[str, str]] = {
    _Reason.NO_BLUETOOTH: ("this computer has no Bluetooth adapter", "plug one in, or choose another with --radio"),
    _Reason.NO_BLE_CENTRAL_ROLE: ("the Bluetooth adapter cannot act as central", "use an adapter with Bluetooth LE"),
    _Reason.POWERED_OFF: ("the Bluetooth adapter is switched off", "switch Bluetooth on and run again"),
    _Reason.DENIED_BY_USER: (
        "the user has refused this program the use of Bluetooth",
        "allow it in the system settings",
    ),
    _Reason.DENIED_BY_SYSTEM: (
        "the system does not allow the use of Bluetooth",
        "ask the administrator of this computer",
    ),
    _Reason.DENIED_BY_UNKNOWN: ("the use of Bluetooth is not allowed", "check the privacy settings of this computer"),
    _Reason.UNKNOWN: ("Bluetooth is not available", "check that the adapter is present and switched on"),
}

# A better key does not help who lacks authorization.
_WANTS_PAIRING = INSUFFICIENT - {INSUFFICIENT_AUTHORIZATION}
_UNPAIRED = (
    "add a pair step before this one, where the device is meant to ask for it; expect this att_error, where the attribute has to be "
    "refused"
)
WITH_RESPONSE = "write with response, or fewer bytes"
_NOT_PERMITTED = "the attribute does not allow it, or wants a paired link"
_IN_PROGRESS_ADVICE = "another program may use the adapter: end its scan or connection; after a restart of the Bluetooth service wait 11 s"
IN_PROGRESS = "org.bluez.Error.InProgress"
# D-Bus error names that BlueZ and the bus itself use: the class of benchrig's error, and what to do.
# Source: BlueZ doc/org.bluez.*.rst and the D-Bus specification.
_DBUS: dict[str, tuple[type[BenchrigError], str]] = {
    "org.bluez.Error.NotReady": (StationError, "switch the adapter on (bluetoothctl power on)"),
    IN_PROGRESS: (StationError, _IN_PROGRESS_ADVICE),
    "org.bluez.Error.NotAuthorized": (StationError, "this user may not use the adapter"),
    "org.bluez.Error.NotAvailable": (StationError, "check that the adapter is present"),
    "org.bluez.Error.NotSupported": (StationError, "this adapter or BlueZ version cannot do it"),
    "org.bluez.Error.NotPermitted": (AttributeMissing, _NOT_PERMITTED),
    "org.bluez.Error.InvalidArguments": (InternalError, ""),
    "org.bluez.Error.InvalidOffset": (AttributeMissing, ""),
    "org.bluez.Error.InvalidValueLength": (AttributeMissing, "the device refuses a value of this length"),
    "org.bluez.Error.Failed": (LinkLost, ""),
    "org.bluez.Error.NotConnected": (LinkLost, ""),
    "org.bluez.Error.DoesNotExist": (DeviceNotFound, "scan again before connecting"),
    "org.freedesktop.DBus.Error.ServiceUnknown": (StationError, START_SERVICE),
    "org.freedesktop.DBus.Error.NoReply": (StationError, f"the Bluetooth service does not answer: {RESTART_SERVICE}"),
    "org.freedesktop.DBus.Error.UnknownObject": (StationError, "the adapter or device is gone: check the adapter"),
    "org.freedesktop.DBus.Error.AccessDenied": (StationError, "this user may not talk to the Bluetooth service"),
    "org.freedesktop.DBus.Error.NameHasNoOwner": (StationError, START_SERVICE),
}


# Whoever says this knows why the link is gone.
_OUTWEIGH_THE_LINK = (bleak_exc.BleakBluetoothNotAvailableError, DeviceFault)


def translate(error: BaseException, doing: str, *, link_lost: str = "", connecting: bool = False) -> BenchrigError:
    """The benchrig error for what bleak raised while `doing` (a phrase such as "read temperature").

    `link_lost` is the reason when the link is known to be gone: the flag decides, not the text of a generic error.
    """
    if isinstance(error, BenchrigError):
        return error
    if link_lost and not isinstance(error, _OUTWEIGH_THE_LINK):
        return LinkLost(f"{doing}: the link was lost ({link_lost})")
    for kind, convert in BY_CLASS:
        if isinstance(error, kind):
            return convert(error, doing, connecting)
    return InternalError(f"{doing}: {type(error).__name__}: {_text(error)}")


def _text(error: BaseException) -> str:
    """The error's own words; str() of some of bleak's errors is a tuple."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error.args[0]) if len(error.args) > 1 else str(error) or type(error).__name__


def _protocol(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    assert isinstance(error, bleak_exc.BleakGATTProtocolError)
    code = int(error.code)
    if code in _WANTS_PAIRING:
        return WantsPairing(code, att_error_name(code), doing, advice=_UNPAIRED)
    return AttError(code, att_error_name(code), doing)


def _not_found(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    return DeviceNotFound(f"{doing}: the device is no longer heard", advice="scan again")


def _not_available(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    assert isinstance(error, bleak_exc.BleakBluetoothNotAvailableError)
    what, advice = NOT_AVAILABLE[error.reason]
    if error.reason is _Reason.UNKNOWN:
        what = _text(error)
    return StationError(f"{doing}: {what}", advice=advice)


# What BlueZ says with Failed about itself and this machine, not about the device (BlueZ src/error.h; the first are
# strerror() of EALREADY, EBUSY and ECANCELED).
_OF_THIS_MACHINE = re.compile(
    r"Operation already in progress|Device or resource busy|Operation canceled|(br|le)-connection-"
    r"(already-connected|create-socket|invalid-arguments?|adapter-not-powered|not-supported|bad-socket|"
    r"memory-allocation|busy|concurrent-connection-limit|abort(ed)?-by-local|canceled)"
)
_BUSY = "another program on this computer may use the adapter or the unit: end it, and run again"


def _dbus(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    assert isinstance(error, bleak_exc.BleakDBusError)
    kind, advice = _DBUS.get(error.dbus_error, (StationError, "see the log of the Bluetooth service"))
    details = error.dbus_error_details or error.dbus_error.rsplit(".", 1)[-1]
    if kind is LinkLost and _OF_THIS_MACHINE.match(details):
        kind, advice = StationError, _BUSY
    if connecting and not issubclass(kind, StationError):
        kind = ConnectFailed
    return kind(f"{doing}: {details}", advice=advice)


# BlueZ forgets devices that nobody is connected to; bleak then says so in words only.
_FORGOTTEN = re.compile(r"device '.*' not found")


# Windows has no code for it.
_DENIED = re.compile(r": Access Denied$")


def _generic(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    if connecting and _FORGOTTEN.search(_text(error)):
        return _not_found(error, doing, connecting)
    if not connecting and _DENIED.search(_text(error)):
        return AttributeMissing(f"{doing}: {_text(error)}", advice=_NOT_PERMITTED)
    return (ConnectFailed if connecting else LinkError)(f"{doing}: {_text(error)}")


def _timeout(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    if connecting:
        return ConnectTimeout(f"{doing}: no connection within the time allowed")
    return NoAnswer(f"{doing}: the device did not answer in time")


def _os_error(error: BaseException, doing: str, connecting: bool) -> BenchrigError:
    if isinstance(error, FileNotFoundError):
        return StationError(f"{doing}: the system's D-Bus is not running", advice=START_BUS)
    return StationError(f"{doing}: {_text(error)}", advice="check the adapter and the Bluetooth service")


_Convert = Callable[[BaseException, str, bool], BenchrigError]

# The order matters: the first class that fits decides (every bleak error is a BleakError as well).
BY_CLASS: tuple[tuple[type[BaseException], _Convert], ...] = (
    (DeviceFault, lambda e, doing, _: MalformedPdu(f"{doing}: {_text(e)}")),
    (NotOffered, lambda e, doing, _: PropertyMissing(f"{doing}: {_text(e)}")),
    (TooLong, lambda e, doing, _: UnfitValue(f"{doing}: {_text(e)}", advice=WITH_RESPONSE)),
    (bleak_exc.BleakGATTProtocolError, _protocol),
    (
        bleak_exc.BleakCharacteristicNotFoundError,
        lambda e, doing, _: AttributeMissing(f"{doing}: {_text(e)}"),
    ),
    (
        bleak_exc.BleakDeviceNotFoundError,
        _not_found,
    ),
    (bleak_exc.BleakBluetoothNotAvailableError, _not_available),
    (bleak_exc.BleakDBusError, _dbus),
    (TimeoutError, _timeout),
    (
        NotImplementedError,
        lambda e, doing, _: StationError(f"{doing}: this operating system does not offer it"),
    ),
    (ValueError, lambda e, doing, _: InternalError(f"{doing}: {_text(e)}")),
    (OSError, _os_error),
    (bleak_exc.BleakError, _generic),
    (AssertionError, lambda e, doing, _: LinkLost(f"{doing}: the link is not there any more")),
)
