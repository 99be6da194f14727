"""What one look at a device found, as plain data: it goes to JSON and YAML as it is, and comes back from there.

Bytes are hex text in capitals, UUIDs 128-bit text in small letters, times seconds. `None` is what was not there, or
what the radio does not tell.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from benchrig.errors import MalformedValue
from benchrig.radio.security import Features
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.jsonable import hex_text, jsonable

NOT_READABLE = "not readable"
# of what the operating system answers in the place of the device
GUARDED = "not read: it wants a paired link, and this system would pair unasked"
LEFT_OUT = "left out, as it was asked for"
LOST_BEFORE = "not read: the link was lost before"


def refusal(code: int, name: str) -> str:
    """Why an attribute was not read that the device refuses."""
    return f"ATT error 0x{code:02X} ({name})"


class Content(msgspec.Struct, omit_defaults=True):
    """What a read gave."""

    raw: str
    # JSON data; of a structure field by field, with `units`
    value: Any = None
    unit: str = ""
    units: dict[str, str] = {}
    # in words, and where it is known from: 'plan', 'assigned number', 'presentation format', '' for none
    format: str = ""
    known_by: str = ""
    # what does not fit the format; then there is no value
    wrong: str = ""

    @property
    def data(self) -> bytes:
        return bytes.fromhex(self.raw)


def content(data: bytes, form: Format | None, known_by: str = "") -> Content:
    """What bytes say in a format."""
    if form is None:
        return Content(hex_text(data))
    made = Content(hex_text(data), unit=form.unit, units=form.fields(), format=form.describe(), known_by=known_by)
    try:
        made.value = jsonable(form.decode(data))
    except MalformedValue as error:
        made.wrong = error.message
    return made


class Guarded(msgspec.Struct, omit_defaults=True):
    """Why an attribute was not read before pairing; `refused` is the code of the ATT error where the device gave one."""

    unread: str
    refused: int | None = None


class Looked:
    """What was tried to be read."""

    __slots__ = ()

    content: Content | None
    unread: str
    refused: int | None
    guarded: Guarded | None

    @property
    def is_known(self) -> bool:
        """Whether the look came to what there is: a value, a refusal, or nothing to read."""
        return self.content is not None or self.unread in ("", NOT_READABLE) or self.refused is not None

    @property
    def access(self) -> str:
        """What reading comes to without pairing: 'read', or why not."""
        return self.guarded.unread if self.guarded else self.unread or "read"


class DescriptorSeen(msgspec.Struct, Looked, omit_defaults=True):
    """`unread` says why there is no content; `refused` is the code of the ATT error where that is the reason. What was
    read once the device was paired with is `guarded`."""

    handle: int
    uuid: str
    name: str
    content: Content | None = None
    unread: str = ""
    refused: int | None = None
    guarded: Guarded | None = None


class CharacteristicSeen(msgspec.Struct, Looked, omit_defaults=True):
    """`handle` is that of the value (on the operating system's radio it may be that of the declaration). `elapsed`:
    seconds that the read took. `written_open`: whether the device took its own value back without security."""

    handle: int
    uuid: str
    name: str
    properties: list[str]
    descriptors: list[DescriptorSeen] = []
    content: Content | None = None
    unread: str = ""
    elapsed: float | None = None
    refused: int | None = None
    guarded: Guarded | None = None
    written_open: bool | None = None

    def descriptor(self, uuid16: int) -> DescriptorSeen | None:
        """The first descriptor with this 16-bit UUID."""
        return next((each for each in self.descriptors if each.uuid == long_uuid(uuid16)), None)


class ServiceSeen(msgspec.Struct, omit_defaults=True):
    handle: int
    uuid: str
    name: str
    characteristics: list[CharacteristicSeen] = []

    def all(self, uuid16: int) -> list[CharacteristicSeen]:
        """The characteristics with this 16-bit UUID."""
        return [each for each in self.characteristics if each.uuid == long_uuid(uuid16)]


class AdvertisingSeen(msgspec.Struct, omit_defaults=True):
    """`payload` and `scan_response` as they came over the air where the radio tells them. Companies are four hex
    digits, levels dBm."""

    name: str = ""
    services: list[str] = []
    manufacturer_data: dict[str, str] = {}
    service_data: dict[str, str] = {}
    tx_power: int | None = None
    rssi: float | None = None
    interval: float | None = None
    payload: str | None = None
    scan_response: str | None = None
    connectable: bool | None = None


class Timing(msgspec.Struct, omit_defaults=True):
    """Seconds."""

    # until the table was there, and for all values together
    connect: float
    read: float
    # of connect: reading the table, where the radio can tell
    discover: float | None = None


class AttributeSeen(msgspec.Struct, omit_defaults=True):
    """One attribute of the device's own table: `uuid` is its type, `value` that of a declaration as hex text."""

    handle: int
    uuid: str
    value: str = ""


class SecuritySeen(msgspec.Struct, omit_defaults=True):
    """What pairing came to. `capability` is as what the station paired; `failure` and `failed_by` are '' for a pairing that
    succeeded. `level` is that of the link afterwards. `same_passkey`: whether two pairings had one passkey."""

    capability: str
    failure: str = ""
    failed_by: str = ""
    method: str | None = None
    secure_connections: bool | None = None
    authenticated: bool | None = None
    bonded: bool | None = None
    key_size: int | None = None
    identity_address: str = ""
    level: str = ""
    same_passkey: bool | None = None
    features: Features | None = None


class Inspection(msgspec.Struct, omit_defaults=True):
    """One device."""

    benchrig: str
    at: str
    radio: str
    simulated: bool
    address: str
    address_type: str
    advertising: AdvertisingSeen
    timing: Timing
    # bytes that one notification carries at most
    payload: int
    # the radio shows every service and the device's own handles; an operating system may hide some
    whole_table: bool
    services: list[ServiceSeen]
    # the device's own table, read when it offers a hash of it and the radio can
    outline: list[AttributeSeen] = []
    # what pairing came to, where the inspection paired
    security: SecuritySeen | None = None
    # how the link ended before everything was read, '' for well
    broken: str = ""
    notes: list[str] = []

    def service(self, uuid16: int) -> list[ServiceSeen]:
        """The services with this 16-bit UUID."""
        return [each for each in self.services if each.uuid == long_uuid(uuid16)]

    def characteristics(self) -> Iterator[tuple[ServiceSeen, CharacteristicSeen]]:
        for service in self.services:
            for characteristic in service.characteristics:
                yield service, characteristic
