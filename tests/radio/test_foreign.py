"""One vocabulary of errors over three operating systems. Texts and classes as bleak 3.1.0 raises them (its source)."""

from __future__ import annotations

import inspect

import pytest
from bleak import exc
from bleak.exc import BleakBluetoothNotAvailableReason as Reason

from benchrig.errors import BenchrigError, InternalError
from benchrig.radio.bumble_stack.faults import DeviceFault, NotOffered, TooLong
from benchrig.radio.foreign import BY_CLASS, NOT_AVAILABLE, translate

_DBUS_FAILED = "org.bluez.Error.Failed"


def test_every_exception_of_the_installed_bleak_is_mapped() -> None:
    classes = {kind for _, kind in inspect.getmembers(exc, inspect.isclass) if issubclass(kind, Exception)}
    assert classes <= {kind for kind, _ in BY_CLASS}, "bleak has an exception that benchrig does not know"


def test_every_reason_for_no_bluetooth_has_a_sentence() -> None:
    assert set(NOT_AVAILABLE) == set(Reason)


@pytest.mark.parametrize("reason", list(Reason))
def test_no_bluetooth_is_the_stations_fault(reason: Reason) -> None:
    error = translate(exc.BleakBluetoothNotAvailableError("not available", reason), "scan", link_lost="gone")
    assert error.cause == "station"
    assert error.advice


ROWS = [
    # what was raised, while connecting, cause, fragment of the sentence
    (exc.BleakGATTProtocolError(0x03), False, "device", "0x03 (write not permitted)"),
    (exc.BleakGATTProtocolError(0x80), False, "device", "0x80"),
    (exc.BleakCharacteristicNotFoundError("2a19"), False, "device", "2a19"),
    (exc.BleakDeviceNotFoundError("C4", "no"), True, "link", "no longer heard"),
    (exc.BleakDBusError("org.bluez.Error.InProgress", ["Operation already in progress"]), False, "station", "progress"),
    (exc.BleakDBusError("org.bluez.Error.NotReady", ["Resource Not Ready"]), True, "station", "Not Ready"),
    (exc.BleakDBusError(_DBUS_FAILED, ["le-connection-abort-by-remote"]), True, "link", "abort-by-remote"),
    # what this machine did itself (BlueZ src/error.h)
    (exc.BleakDBusError(_DBUS_FAILED, ["Operation already in progress"]), True, "station", "in progress"),
    (exc.BleakDBusError(_DBUS_FAILED, ["br-connection-canceled"]), True, "station", "canceled"),
    (exc.BleakDBusError(_DBUS_FAILED, ["le-connection-abort-by-local"]), True, "station", "abort-by-local"),
    (exc.BleakDBusError(_DBUS_FAILED, ["le-connection-concurrent-connection-limit"]), True, "station", "limit"),
    (exc.BleakDBusError(_DBUS_FAILED, ["le-connection-refused"]), True, "link", "refused"),
    (exc.BleakDBusError(_DBUS_FAILED, ["Operation failed with ATT error: 0x0e"]), False, "link", "0x0e"),
    (exc.BleakDBusError("org.bluez.Error.NotPermitted", ["Not paired"]), False, "device", "Not paired"),
    (exc.BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["no bluez"]), False, "station", "no bluez"),
    (exc.BleakDBusError("org.freedesktop.DBus.Error.Spawn.ChildExited", ["exited"]), False, "station", "exited"),
    (exc.BleakDBusError("org.example.Unheard", []), False, "station", "Unheard"),
    (TimeoutError(), True, "link", "no connection"),
    (TimeoutError(), False, "device", "did not answer"),
    (exc.BleakError("device 'dev_C4' not found"), True, "link", "no longer heard"),
    (exc.BleakError("Not connected"), False, "link", "Not connected"),
    (exc.BleakError("Service Discovery has not been performed yet"), True, "link", "Service Discovery"),
    (FileNotFoundError(2, "No such file or directory"), False, "station", "D-Bus"),  # no system bus (Linux)
    (PermissionError(13, "Permission denied"), False, "station", "denied"),
    (NotImplementedError(), False, "station", "does not offer"),  # pair on macOS
    (AssertionError(), False, "link", "not there"),  # CoreBluetooth after a lost link
    (exc.BleakError("Could not get GATT services: Unreachable"), True, "link", "Unreachable"),  # Windows
]


@pytest.mark.parametrize(("raised", "connecting", "cause", "fragment"), ROWS)
def test_what_was_raised_gets_a_cause_and_a_sentence(
    raised: Exception, connecting: bool, cause: str, fragment: str
) -> None:
    error = translate(raised, "read temperature", connecting=connecting)
    assert (error.cause, fragment in error.message) == (cause, True), error.message
    assert error.message.startswith("read temperature: ")
    assert "('" not in error.message, "no tuple as text"


@pytest.mark.parametrize(
    "raised", [exc.BleakError("x"), exc.BleakGATTProtocolError(0x0E), exc.BleakDBusError(_DBUS_FAILED, [])]
)
def test_a_lost_link_decides_over_any_text(raised: Exception) -> None:
    assert translate(raised, "read", link_lost="connection timeout").cause == "link"


@pytest.mark.parametrize(
    ("raised", "cause"), [(DeviceFault("x"), "device"), (NotOffered("x"), "device"), (TooLong("x"), "plan")]
)
def test_what_the_own_stack_refuses_blames_no_link(raised: Exception, cause: str) -> None:
    for connecting in (False, True):
        error = translate(raised, "read", connecting=connecting)
        assert (error.cause, error.may_pass) == (cause, False)


def test_what_broke_the_protocol_outweighs_the_link_that_it_cost() -> None:
    assert translate(DeviceFault("a malformed PDU"), "read", link_lost="connection timeout").cause == "device"


def test_an_unknown_exception_is_a_bug_and_says_its_class() -> None:
    error = translate(KeyError("odd"), "read")
    assert isinstance(error, InternalError)
    assert "KeyError" in error.message


def test_an_error_of_benchrig_passes_unchanged() -> None:
    error = BenchrigError("mine")
    assert translate(error, "read") is error


@pytest.mark.parametrize(("code", "paired"), [(0x02, False), (0x05, True), (0x0C, True), (0x0F, True)])
def test_an_attribute_that_wants_a_paired_link_is_the_devices_answer(code: int, paired: bool) -> None:
    """Codes: Core Vol 3 Part F 3.4.1.1, table 3.4."""
    error = translate(exc.BleakGATTProtocolError(code), "read x")
    assert (error.cause, "nothing was paired before" in error.message) == ("device", paired)
