"""What keeps a controller from being opened, in one vocabulary: the libraries below have one each.

Sources: bumble's transports (TransportInitError, AssertionError, bare Exception), pyserial (SerialException, an
OSError), libusb1 (USBError and its subclasses, told apart by name: the library need not be there).
"""

from __future__ import annotations

import errno
import socket

_BUSY = "end the other program that uses it"
_ADVICE = {
    "usb": "check that the adapter is plugged in, and that nothing else drives it",
    "serial": "check the speed (hci:serial:PORT,SPEED), flow control (…,rtscts) and that the firmware speaks HCI (H4)",
    "tcp": "check that a controller that speaks HCI (H4) listens there, and no other host uses it",
}
_MISSING = {
    "usb": "pip install libusb1 libusb-package, and libusb itself where the package brings none",
    "serial": "pip install pyserial pyserial-asyncio",
}
_RIGHTS = {
    "usb": "give this user the device (a udev rule), or run as root",
    "serial": "add this user to the group of the port (often dialout), and log in again",
}
_USB = {
    "USBErrorAccess": ("this user may not open it", _RIGHTS["usb"]),
    "USBErrorBusy": (
        "it is in use",
        "end the program that uses it, or the system's own stack (bluetoothctl power off)",
    ),
    "USBErrorNoDevice": ("it is gone", _ADVICE["usb"]),
    "USBErrorNotFound": ("it is not there", _ADVICE["usb"]),
    "USBErrorOther": (
        "libusb could not start (LIBUSB_ERROR_OTHER)",
        "check that this user may use USB (on Linux: ls /dev/bus/usb)",
    ),
    "USBErrorNotSupported": ("the system gives no access to it", "install a driver that does (WinUSB on Windows)"),
}
NO_PORT = "there is no such port"
_CODES = {
    errno.ENOENT: NO_PORT,
    errno.ENODEV: NO_PORT,
    errno.ENXIO: NO_PORT,
    errno.EHOSTUNREACH: "the host cannot be reached",
    errno.ENETUNREACH: "the host cannot be reached",
}


def advice_for(kind: str) -> str:
    """What to look at when a controller on this kind of transport does not work."""
    return _ADVICE[kind]


def explain(exc: Exception, kind: str) -> tuple[str, str]:
    """What keeps it from working, and what to do."""
    if isinstance(exc, ImportError):
        return f"a library is missing ({exc.name or exc})", _MISSING.get(kind, "pip install bumble")
    if known := next((_USB[base.__name__] for base in type(exc).__mro__ if base.__name__ in _USB), None):
        return known
    if isinstance(exc, TimeoutError):
        return "no answer", _ADVICE[kind]
    if isinstance(exc, OSError):
        return _explain_os(exc, kind)
    return str(exc) or type(exc).__name__, _ADVICE[kind]


def _explain_os(exc: OSError, kind: str) -> tuple[str, str]:
    if isinstance(exc, ConnectionRefusedError):
        return "nothing listens there (connection refused)", _ADVICE[kind]
    if isinstance(exc, socket.gaierror):
        return "the name of the host is not known", _ADVICE[kind]
    if exc.errno in (errno.EACCES, errno.EPERM):
        return "this user may not open it", _RIGHTS.get(kind, _ADVICE[kind])
    if exc.errno == errno.EBUSY or "exclusively lock" in str(exc):
        return "it is in use", _BUSY
    if kind == "usb" and exc.errno is None:
        return f"libusb cannot be loaded ({exc})", _MISSING["usb"]
    return _CODES.get(exc.errno or 0) or exc.strerror or str(exc), _ADVICE[kind]
