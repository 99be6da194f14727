"""Controllers that are attached to this machine, and could be driven without the operating system's stack.

What is on USB is asked of libusb, which can crash or hang: not to be called where that matters.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchrig.errors import StationError
from benchrig.radio.hci_errors import NO_PORT, explain

# Wireless controller, radio frequency, Bluetooth (USB-IF class codes).
_BLUETOOTH = (0xE0, 0x01, 0x01)
# Devices of these classes say at their interfaces what they are: by interface, and composite ones.
_BY_INTERFACE = (0x00, 0xEF)
_LISTED = 8
_TTYS = Path("/sys/class/tty")


@dataclass(frozen=True)
class Controller:
    """`radio` is what --radio takes; `usable` says whether this user may open it, None where that is not known."""

    radio: str
    what: str
    usable: bool | None


def on_usb() -> list[Controller]:
    """Bluetooth controllers on USB, in the order in which bumble numbers them. StationError when USB cannot be
    looked at."""
    try:
        import usb1  # type: ignore[import-untyped]

        from benchrig.radio.bumble_stack.bumble_api import load_libusb

        load_libusb()
        with usb1.USBContext() as context:
            devices = [each for each in context.getDeviceIterator(skip_on_error=True) if _is_bluetooth(each)]
            return [_usb_controller(number, device) for number, device in enumerate(devices)]
    except Exception as exc:
        raise _unseen(exc, "usb") from exc


def _usb_controller(number: int, device: Any) -> Controller:
    numbers = f"USB {device.getVendorID():04X}:{device.getProductID():04X}"
    node = f"/dev/bus/usb/{device.getBusNumber():03}/{device.getDeviceAddress():03}"
    return Controller(f"hci:usb:{number}", numbers, _may_open(node) if os.path.exists(node) else None)


def _is_bluetooth(device: Any) -> bool:
    if (device.getDeviceClass(), device.getDeviceSubClass(), device.getDeviceProtocol()) == _BLUETOOTH:
        return True
    if device.getDeviceClass() not in _BY_INTERFACE:
        return False
    return any((s.getClass(), s.getSubClass(), s.getProtocol()) == _BLUETOOTH for s in _settings(device))


def _settings(device: Any) -> Iterator[Any]:
    for configuration in device:
        for interface in configuration:
            yield from interface


def on_serial() -> list[Controller]:
    """Serial ports; whether a controller is behind one is not known. StationError when the library is missing."""
    try:
        from serial.tools import list_ports  # type: ignore[import-untyped]
    except ImportError as exc:
        raise _unseen(exc, "serial") from exc
    ports = sorted(list_ports.comports(), key=lambda port: _natural(port.device))
    return [
        Controller(f"hci:serial:{port.device}", _described(port), _may_open(port.device))
        for port in ports
        if not _is_empty(port.name)
    ]


def serial_ports_listed() -> str:
    """Advice for who named a serial port that is not there."""
    try:
        ports = [each.radio for each in on_serial()]
    except StationError as error:
        return error.advice
    more = f" and {len(ports) - _LISTED} more" if len(ports) > _LISTED else ""
    return f"there are {', '.join(ports[:_LISTED])}{more}" if ports else "no serial port is attached: plug it in"


def _described(port: Any) -> str:
    return "serial port" if port.description in (None, "", "n/a") else f"serial port, {port.description}"


def _natural(name: str) -> list[str]:
    """ttyS2 before ttyS10."""
    return [part.zfill(6) if part.isdigit() else part for part in re.split(r"(\d+)", name)]


def _is_empty(name: str) -> bool:
    """Whether the kernel keeps this name for a UART that is not there (type 0, Linux serial_core)."""
    try:
        return (_TTYS / name / "type").read_text().strip() == "0"
    except OSError:
        return False


def serial_port(path: str) -> str:
    """Who may open a serial port. StationError when it is not there, or this user may not."""
    try:
        state = os.stat(path)
        if not _may_open(path):
            raise PermissionError(13, "permission denied", path)
    except OSError as exc:
        raise open_error(exc, "serial", path) from exc
    return f"{path}, group {_group(state.st_gid)}"


def open_error(exc: Exception, kind: str, place: str) -> StationError:
    """The station's error for what was raised while `kind`:`place` was being opened."""
    what, advice = explain(exc, kind)
    if kind == "serial" and what == NO_PORT:
        advice = serial_ports_listed()
    return StationError(f"hci:{kind}:{place} cannot be opened: {what}", advice=advice)


def _unseen(exc: Exception, kind: str) -> StationError:
    what, advice = explain(exc, kind)
    return StationError(f"what is attached cannot be listed: {what}", advice=advice)


def _may_open(path: str) -> bool:
    return os.access(path, os.R_OK | os.W_OK)


def _group(number: int) -> str:
    try:
        import grp

        return grp.getgrgid(number).gr_name
    except (ImportError, KeyError):
        return str(number)
