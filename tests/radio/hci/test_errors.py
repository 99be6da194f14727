"""Whatever keeps a controller from being opened is a station error that says what to do.

Stand-ins have the signatures of bumble 0.0.236 (open_transport), pyserial-asyncio 0.6 (create_serial_connection) and
libusb1 3.4 (USBError and its subclasses take a status number)."""

import errno
import inspect
import os
import socket
import sys

import bumble.transport
import pytest
import serial
import serial_asyncio
import usb1
from bumble.transport.common import TransportInitError, TransportSpecError

from benchrig.errors import StationError
from benchrig.radio.attached import open_error
from benchrig.radio.hci import open_hci


def told(exc, kind="usb", place="0"):
    error = open_error(exc, kind, place)
    assert isinstance(error, StationError)
    assert error.message.startswith(f"hci:{kind}:{place} cannot be opened: ")
    assert error.advice
    return error.message.split(": ", 1)[1], error.advice


@pytest.mark.parametrize(
    ("exc", "what", "advice"),
    [
        (usb1.USBErrorAccess(usb1.libusb1.LIBUSB_ERROR_ACCESS), "this user may not open it", "udev rule"),
        (usb1.USBErrorBusy(usb1.libusb1.LIBUSB_ERROR_BUSY), "it is in use", "bluetoothctl power off"),
        (usb1.USBErrorNoDevice(usb1.libusb1.LIBUSB_ERROR_NO_DEVICE), "it is gone", "plugged in"),
        (usb1.USBErrorNotFound(usb1.libusb1.LIBUSB_ERROR_NOT_FOUND), "it is not there", "plugged in"),
        (usb1.USBErrorNotSupported(usb1.libusb1.LIBUSB_ERROR_NOT_SUPPORTED), "no access", "WinUSB"),
        (usb1.USBErrorOther(usb1.libusb1.LIBUSB_ERROR_OTHER), "libusb could not start", "/dev/bus/usb"),
        (usb1.USBErrorIO(usb1.libusb1.LIBUSB_ERROR_IO), "LIBUSB_ERROR_IO", "plugged in"),
        (TransportInitError("device not found"), "device not found", "plugged in"),
        (OSError("libusb-1.0.so: cannot open shared object file"), "libusb cannot be loaded", "pip install"),
        (ModuleNotFoundError("No module named 'usb1'", name="usb1"), "a library is missing (usb1)", "pip install"),
        (AssertionError(), "AssertionError", "plugged in"),
        (Exception("no endpoints"), "no endpoints", "plugged in"),
    ],
)
def test_usb(exc, what, advice):
    found = told(exc)
    assert what in found[0]
    assert advice in found[1]


@pytest.mark.parametrize(
    ("exc", "what", "advice"),
    [
        (serial.SerialException(errno.ENOENT, "could not open port"), "there is no such port", "serial"),
        (serial.SerialException(errno.EACCES, "could not open port"), "this user may not open it", "dialout"),
        (serial.SerialException(errno.EBUSY, "could not open port"), "it is in use", "other program"),
        (serial.SerialException(errno.EAGAIN, "Could not exclusively lock port"), "it is in use", "other program"),
        (serial.SerialException("Could not configure port"), "Could not configure port", "speed"),
        (ModuleNotFoundError("No module named 'serial_asyncio'", name="serial_asyncio"), "serial_asyncio", "pyserial"),
        (TransportInitError("the controller did not answer"), "did not answer", "rtscts"),
        (ValueError("invalid baud rate: 12"), "invalid baud rate: 12", "speed"),
    ],
)
def test_serial(exc, what, advice):
    found = told(exc, "serial", "/dev/ttyUSB0,1000000")
    assert what in found[0]
    assert advice in found[1]


@pytest.mark.parametrize(
    ("exc", "what"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connect call failed"), "nothing listens there"),
        (TimeoutError(), "no answer"),
        (socket.gaierror(socket.EAI_NONAME, "Name or service not known"), "the name of the host is not known"),
        (OSError(errno.EHOSTUNREACH, "No route to host"), "the host cannot be reached"),
        (TransportSpecError("unknown transport scheme"), "unknown transport scheme"),
    ],
)
def test_tcp(exc, what):
    assert what in told(exc, "tcp", "10.0.0.1:9000")[0]


def test_the_stand_ins_have_the_signatures_of_the_libraries():
    assert list(inspect.signature(bumble.transport.open_transport).parameters) == ["name"]
    signature = inspect.signature(serial_asyncio.create_serial_connection)
    assert list(signature.parameters) == ["loop", "protocol_factory", "args", "kwargs"]


@pytest.mark.parametrize("exc", [usb1.USBErrorAccess(-3), AssertionError(), Exception("odd"), OSError("libusb")])
async def test_what_a_transport_raises_comes_out_as_the_stations(monkeypatch, exc):
    async def open_transport(name):
        assert name == "usb:0"
        raise exc

    monkeypatch.setattr(bumble.transport, "open_transport", open_transport)
    with pytest.raises(StationError, match="hci:usb:0 cannot be opened"):
        await open_hci("hci:usb:0", "usb:0")


async def test_a_serial_port_with_its_speed(monkeypatch):
    asked = {}

    async def create_serial_connection(loop, protocol_factory, *args, **kwargs):
        asked.update(kwargs, port=args[0])
        raise serial.SerialException(errno.EACCES, "could not open port /dev/ttyUSB0")

    monkeypatch.setattr(serial_asyncio, "create_serial_connection", create_serial_connection)
    with pytest.raises(StationError, match="this user may not open it"):
        await open_hci("hci:serial:x", "serial:/dev/ttyUSB0,115200,rtscts")
    assert asked == {"port": "/dev/ttyUSB0", "baudrate": 115200, "rtscts": True, "dsrdtr": False}


async def test_no_such_serial_port():
    with pytest.raises(StationError, match=r"hci:serial:/dev/none cannot be opened: there is no such port"):
        await open_hci("hci:serial:/dev/none", "serial:/dev/none")


async def test_a_file_is_no_serial_port(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StationError, match="cannot be opened"):
        await open_hci("hci", f"serial:{tmp_path}/file")


async def test_a_missing_library(monkeypatch):
    for name in ("serial_asyncio", "bumble.transport.serial"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(StationError, match="a library is missing"):
        await open_hci("hci", "serial:/dev/ttyUSB0")


@pytest.mark.skipif(os.name != "posix", reason="needs pseudo terminals")
async def test_a_serial_controller_that_says_nothing(monkeypatch):
    """The wrong speed, or no power: the port opens, and no answer comes."""
    import pty

    from benchrig.radio.bumble_stack import stack

    monkeypatch.setattr(stack, "RESET_WITHIN", 0.2)
    ours, theirs = pty.openpty()
    try:
        with pytest.raises(StationError, match=r"did not answer Reset within 0\.2 s") as raised:
            await open_hci("hci", f"serial:{os.ttyname(theirs)},1000000")
    finally:
        os.close(ours)
        os.close(theirs)
    assert "check the speed" in raised.value.advice
