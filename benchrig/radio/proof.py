"""What shows that a device which answers is the one that was found before, or that it is not."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchrig.errors import (
    AttError,
    AttributeMissing,
    LinkError,
    MalformedValue,
    NoAnswer,
    NotProven,
    UnfitAddress,
    WrongDevice,
)
from benchrig.radio.choosing import labels
from benchrig.radio.identity import Identity, is_private
from benchrig.radio.scan import Sighting
from benchrig.radio.table import Segment
from benchrig.source.problem import printable

if TYPE_CHECKING:
    from benchrig.radio.link import Link

SERIAL_NUMBER = "00002a25-0000-1000-8000-00805f9b34fb"
_SERIAL_WITHIN = 5.0


def check_address_fits(identity: Identity, heard: Sequence[Sighting], listened: float) -> None:
    """UnfitAddress where what answers in the place of a bonded device of changing addresses are the addresses of one such
    device, one after the other: its key should have shown that it is this one."""
    if not (identity.rotates and identity.bonded_as):
        return
    in_time = sorted(heard, key=lambda each: each.first_at)
    is_one = all(one.last_at <= later.first_at for one, later in itertools.pairwise(in_time))
    if is_one and all(is_private(each) for each in heard):
        raise UnfitAddress(
            f"the unit is {identity.bonded_as}, and it was not heard in {listened:.3g} s; what matches the selection now "
            f"has no address that fits the identity key that the unit gave: {labels(in_time)}",
            advice="see with which key the firmware makes its addresses; or switch other devices off",
        )


def another_device(identity: Identity, sighting: Sighting, serial: str) -> WrongDevice:
    """A device under another address that could not be shown to be the same one."""
    if serial and identity.serial:
        return WrongDevice(
            f"another device answers: its serial number is '{printable(serial)}', "
            f"that of the unit is '{printable(identity.serial)}'",
            advice="switch the others off",
        )
    return NotProven(
        f"the unit was {identity.address}, {sighting.address} answers now, and nothing proves that it is the same device",
        advice="give its identity key in device: select:, or let the device offer a serial number",
    )


async def serial_of(link: Link) -> str:
    """The serial number that the device tells, '' when it tells none."""
    try:
        return await serial_told(link)
    except (AttError, AttributeMissing, LinkError, NoAnswer, MalformedValue):
        return ""


async def serial_told(link: Link) -> str:
    """The same; AttributeMissing for a device without one, AttError, NoAnswer, MalformedValue and LinkError for one that does
    not tell it now."""
    found = link.table.find((Segment(SERIAL_NUMBER),))
    if not found:
        raise AttributeMissing("the unit has no serial number (2A25)")
    return serial_text(await link.read(found[0].attribute, "read the serial number", _SERIAL_WITHIN))


def serial_text(data: bytes) -> str:
    """The same text for the same bytes, whatever format a plan reads them in; '' for what proves nothing."""
    try:
        return data.decode("utf-8").rstrip("\0")
    except UnicodeDecodeError:
        return ""
