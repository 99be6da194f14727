"""What is attached, by stand-ins for libusb and pyserial."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
import usb1
from serial.tools import list_ports

from benchrig.errors import StationError
from benchrig.radio.attached import on_serial, on_usb, serial_ports_listed

# USB-IF class codes: wireless controller, radio frequency, Bluetooth.
BLUETOOTH = (0xE0, 1, 1)


class Device:
    """A USB device with a class, and one interface with another."""

    def __init__(self, own: tuple[int, int, int], interface: tuple[int, int, int] = (3, 0, 0)) -> None:
        self.own, self.interface = own, interface

    def __iter__(self) -> Any:
        setting = SimpleNamespace(
            getClass=lambda: self.interface[0],
            getSubClass=lambda: self.interface[1],
            getProtocol=lambda: self.interface[2],
        )
        return iter([[[setting]]])

    def getDeviceClass(self) -> int:
        return self.own[0]

    def getDeviceSubClass(self) -> int:
        return self.own[1]

    def getDeviceProtocol(self) -> int:
        return self.own[2]

    def getVendorID(self) -> int:
        return 0x1234

    def getProductID(self) -> int:
        return 0xA

    def getBusNumber(self) -> int:
        return 99

    def getDeviceAddress(self) -> int:
        return 1


def attach(monkeypatch: pytest.MonkeyPatch, *devices: Device) -> None:
    class Context:
        def __enter__(self) -> Context:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def getDeviceIterator(self, *, skip_on_error: bool) -> Any:
            return iter(devices)

    monkeypatch.setattr(usb1, "USBContext", Context)


def test_bluetooth_controllers_are_numbered(monkeypatch):
    attach(monkeypatch, Device((9, 0, 0)), Device(BLUETOOTH), Device((0, 0, 0)), Device((0xEF, 2, 1), BLUETOOTH))
    assert [(each.radio, each.what, each.usable) for each in on_usb()] == [
        ("hci:usb:0", "USB 1234:000A", None),
        ("hci:usb:1", "USB 1234:000A", None),
    ]


def test_usb_that_cannot_be_looked_at(monkeypatch):
    def fail() -> None:
        raise usb1.USBErrorAccess

    monkeypatch.setattr(usb1, "USBContext", fail)
    with pytest.raises(StationError, match="this user may not open it"):
        on_usb()


def test_serial_ports_in_order(monkeypatch):
    ports = [
        SimpleNamespace(device=f"/dev/nonexistent{number}", name=f"nonexistent{number}", description=text)
        for number, text in ((10, "n/a"), (2, "bench adapter"))
    ]
    monkeypatch.setattr(list_ports, "comports", lambda: ports)
    assert [(each.radio, each.what, each.usable) for each in on_serial()] == [
        ("hci:serial:/dev/nonexistent2", "serial port, bench adapter", False),
        ("hci:serial:/dev/nonexistent10", "serial port", False),
    ]


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "no serial port is attached: plug it in"),
        (2, "there are hci:serial:/dev/nonexistent0, hci:serial:/dev/nonexistent1"),
        (10, "hci:serial:/dev/nonexistent7 and 2 more"),
    ],
)
def test_who_names_a_port_that_is_not_there_is_told_of_those_that_are(monkeypatch, count, said):
    names = [f"nonexistent{number}" for number in range(count)]
    ports = [SimpleNamespace(device=f"/dev/{name}", name=name, description="") for name in names]
    monkeypatch.setattr(list_ports, "comports", lambda: ports)
    assert serial_ports_listed().endswith(said)
