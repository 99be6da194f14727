"""What is behind a unit that is not heard, not connected to or does not answer on Linux, in sentences."""

from __future__ import annotations

from benchrig.errors import BenchrigError, DeviceError, DeviceNotFound, StationError, SystemPairing, SystemPairingAsked
from benchrig.radio.bleak_api import object_path
from benchrig.radio.bluez import KnownDevice, address_in
from benchrig.radio.offers import ON_OTHER_RADIO
from benchrig.radio.scan import Sighting
from benchrig.radio.security import NO_KEY
from benchrig.values.address import kind_of_random


def drowned() -> StationError:
    return StationError(
        "another program is scanning with this adapter, which kept the unit from being heard",
        advice="end that scan, or allow finding and connecting 12 s each (within; for a command: --within 60s)",
    )


def unasked_pairing(*, unanswered: bool) -> StationError:
    """`unanswered`: a request has had no answer since."""
    return (SystemPairingAsked if unanswered else SystemPairing)(
        "the unit wants a paired, encrypted link, and Linux is trying to pair, which was refused: "
        "what the unit answered cannot be seen",
        advice=f"pair with the unit before this step, where it is meant to ask for it, or {ON_OTHER_RADIO}",
    )


def makes_wait() -> StationError:
    return SystemPairing(
        "the unit asks for security itself: Linux began to pair on its own, which was refused, and after that the unit may refuse "
        "the next attempt for a while",
        advice="test this on another radio: --radio hci:…",
    )


def taken(device: KnownDevice, *, here: bool = False) -> StationError:
    """`here`: another run of this process is connected to it."""
    if here:
        return StationError(
            f"another run of this station is connected to {device.name or device.address}",
            advice="test each unit in one slot at a time",
        )
    return StationError(
        f"another program on this computer is connected to {device.name or device.address} through {device.adapter}",
        advice=f"end that program, or end its link: bluetoothctl disconnect {device.address}",
    )


def perhaps_taken(device: KnownDevice) -> StationError:
    return StationError(
        f"the unit was not heard, and another program on this computer is connected to "
        f"{device.name or device.address} ({device.address}, {device.adapter}), which may be the unit",
        advice=f"end that link: bluetoothctl disconnect {device.address}; or select the unit by its address",
    )


def memory_of(device: KnownDevice) -> str:
    why = "is paired with" if device.paired else "was connected to"
    return (
        f"Linux {why} {device.name or device.address} and mixes its table with the name and the services it advertises"
    )


def unasked(name: str) -> str:
    """A unit that asks for security, or refuses something for want of it: a remark, whatever comes of it."""
    return f"{name} wants an encrypted link: Linux began to pair with it on its own, which benchrig refused"


def too_weak() -> StationError:
    return SystemPairingAsked(
        "the unit may want a better protected link: Linux then pairs once more on its own, and what the unit answered cannot be seen",
        advice=f"pair as one with an input or output before this step, or {ON_OTHER_RADIO}",
    )


def lost_from_sight(sighting: Sighting) -> BenchrigError:
    """A device that Linux was told to forget, and is not heard again."""
    name = sighting.name or sighting.address
    known = address_in(object_path(sighting.device)) if sighting.device is not None else ""
    if not any(kind_of_random(address) == "resolvable private" for address in (sighting.address, known) if address):
        return DeviceNotFound(f"{name} is no longer heard", advice="scan again")
    return StationError(
        f"the address of {name} changes, and Linux has forgotten the key by which it knew the new one",
        advice=ON_OTHER_RADIO,
    )


def lost_bond(name: str, failure: str) -> DeviceError:
    """A unit that wants an encrypted link, and did not take the key that it was bonded with."""
    return DeviceError(f"{name} wants an encrypted link, and {refusal_of(failure)}")


def refusal_of(failure: str) -> str:
    return "has lost the key of its bond" if failure == NO_KEY else "has another key than that of its bond"
