"""Makes an inspection: connect, and read all that can be read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from benchrig.desk.desk import READ_WITHIN, Desk
from benchrig.desk.inspecting_security import PairingLook, look_paired
from benchrig.desk.inspection import (
    GUARDED,
    LEFT_OUT,
    LOST_BEFORE,
    NOT_READABLE,
    AdvertisingSeen,
    AttributeSeen,
    CharacteristicSeen,
    Content,
    DescriptorSeen,
    Inspection,
    ServiceSeen,
    Timing,
    content,
    refusal,
)
from benchrig.desk.paths import attributes_in
from benchrig.errors import (
    AttError,
    AttributeMissing,
    DeviceError,
    LinkError,
    LinkLost,
    MalformedValue,
    NoAnswer,
    SystemPairing,
)
from benchrig.steps.lookup import look_up
from benchrig.values import catalogue
from benchrig.values.catalogue import long_uuid
from benchrig.values.format import Format
from benchrig.values.jsonable import hex_text, moment_text
from benchrig.values.presentation import PRESENTATION_FORMAT
from benchrig.version import __version__

if TYPE_CHECKING:
    from benchrig.radio.scan import Sighting
    from benchrig.radio.table import Attribute, Characteristic, Table
    from benchrig.steps.attribute import Names

VALID_RANGE = long_uuid(0x2906)
DATABASE_HASH = long_uuid(0x2B2A)
OUTLINE_WITHIN = 20.0
# Each of them costs a request without an answer and a connection.
MOST_GUARDED = 5
NOT_WHOLE = "this radio hides services and handles of the device, so rules about them were left out"


async def inspect(desk: Desk, skip: Iterable[str] = (), pairing: PairingLook | None = None) -> Inspection:
    """Find the device, and look at all of it, once more when it is paired with; the link is closed again. A value that the device
    refuses is no error here, and neither is a link that it ends: `broken` says so then. Nothing is asked of the attributes
    named in `skip`. What `Desk.reach` raises; AttributeMissing for a name that the device does not have."""
    unit, link = await desk.reach()
    payload = await link.settled_payload()
    settled = desk.now()
    left_out = dict.fromkeys(handles_of(desk, skip), LEFT_OUT)
    services = await _look_around(desk, left_out)
    read = desk.now() - settled
    security = None
    if pairing is not None and desk.device.is_up:
        security, services = await look_paired(desk, pairing, services, lambda: _look_around(desk, left_out))
    link = desk.device.link
    outline = await _outline(desk)
    discover = link.timing.get("discover")
    timing = Timing(
        connect=desk.took,
        discover=None if discover is None else round(discover, 6),
        read=round(read, 6),
    )
    broken = "" if link.is_up else f"the link was lost while the device was looked at ({link.lost_reason})"
    await link.disconnect()
    return _inspection(desk, unit, timing=timing, payload=payload, services=services, outline=outline, broken=broken,
                       security=security)  # fmt: skip


def _inspection(desk: Desk, unit: Sighting, **seen: Any) -> Inspection:
    """With what is known without a link."""
    return Inspection(
        benchrig=__version__,
        at=moment_text(datetime.now(UTC)),
        radio=desk.radio.name,
        simulated=desk.radio.simulated,
        address=unit.address,
        address_type=unit.address_type,
        advertising=advertising_of(unit),
        whole_table=desk.radio.whole_table,
        notes=[] if desk.radio.whole_table else [NOT_WHOLE],
        **seen,
    )


async def _outline(desk: Desk) -> list[AttributeSeen]:
    """The device's own table, where there is a hash to hold it against."""
    link = desk.device.link
    if not any(found.attribute.uuid == DATABASE_HASH for found in link.table.attributes()) or not link.is_up:
        return []
    try:
        async with desk.showing("reading the attribute table"):
            outline = await link.outline(OUTLINE_WITHIN)
    except (LinkError, DeviceError):
        return []
    return [AttributeSeen(handle, uuid, hex_text(value or b"")) for handle, uuid, value in outline]


def table_seen(table: Table, names: Names) -> list[ServiceSeen]:
    """The table without any value."""
    label = names.label
    return [
        ServiceSeen(service.handle, service.uuid, label(service.uuid, "service"), [
            CharacteristicSeen(each.handle, each.uuid, label(each.uuid, "characteristic"), list(each.properties), [
                DescriptorSeen(part.handle, part.uuid, label(part.uuid, "descriptor")) for part in each.descriptors
            ])
            for each in service.characteristics
        ])
        for service in table.services
    ]  # fmt: skip


def handles_of(desk: Desk, names: Iterable[str]) -> list[int]:
    """The attributes with these names. AttributeMissing, AttributeAmbiguous."""
    return [look_up(desk.device.link.table, desk.names, name).found.attribute.handle for name in names]


async def _look_around(desk: Desk, skip: Mapping[int, str]) -> list[ServiceSeen]:
    """Everything that can be read. Where the system would pair, the link is lost with the attribute: the others are read
    over a new one, so often and no more."""
    for _ in range(MOST_GUARDED):
        services = await look_at(desk, skip)
        seen = [each for _, each in attributes_in(services)]
        guarded = [each.handle for each in seen if each.unread == GUARDED and each.handle not in skip]
        if not guarded:
            break
        skip = {**skip, **dict.fromkeys(guarded, GUARDED)}
        await desk.radio.tidy()
        await desk.connect()
    return services


async def look_at(desk: Desk, skip: Mapping[int, str]) -> list[ServiceSeen]:
    """The table of a connected device with everything that can be read; `skip` says why handles are left out."""
    table = desk.device.link.table
    services = table_seen(table, desk.names)
    for service, shown in zip(table.services, services, strict=True):
        for characteristic, seen in zip(service.characteristics, shown.characteristics, strict=True):
            await _look(desk, characteristic, seen, skip)
    return services


def advertising_of(unit: Sighting) -> AdvertisingSeen:
    """What was heard of a device."""
    return AdvertisingSeen(
        name=unit.name,
        services=list(unit.services),
        manufacturer_data={f"{company:04X}": hex_text(data) for company, data in unit.manufacturer_data.items()},
        service_data={uuid: hex_text(data) for uuid, data in unit.service_data.items()},
        tx_power=unit.tx_power,
        rssi=unit.median_rssi,
        interval=unit.interval,
        payload=None if unit.payload is None else hex_text(unit.payload),
        scan_response=None if unit.scan_response is None else hex_text(unit.scan_response),
        connectable=unit.connectable,
    )


async def _look(desk: Desk, characteristic: Characteristic, seen: CharacteristicSeen, skip: Mapping[int, str]) -> None:
    """Read a characteristic, after its descriptors: they may say how its value reads."""
    contents = []
    for descriptor, shown in zip(characteristic.descriptors, seen.descriptors, strict=True):
        contents.append((shown, await _read(desk, descriptor, seen.name, shown, skip)))
    presented = next((data for each, data in contents if each.uuid == PRESENTATION_FORMAT and data is not None), None)
    form, known_by = format_of(desk.names, seen.uuid, presented)
    for shown, data in contents:
        shown.content = None if data is None else _descriptor_content(shown.uuid, data, form)
    if "read" not in characteristic.properties:
        seen.unread = NOT_READABLE
        return
    started = desk.now()
    data = await _read(desk, characteristic, seen.name, seen, skip)
    if data is not None:
        seen.content, seen.elapsed = content(data, form, known_by), round(desk.now() - started, 6)


def _descriptor_content(uuid: str, data: bytes, around: Format | None) -> Content:
    """`around` is the format of the characteristic."""
    form = catalogue.definition(uuid)
    if uuid == VALID_RANGE and around is not None and around.size:
        form = catalogue.valid_range_format(around)
    return content(data, form, "assigned number" if form else "")


def format_of(names: Names, uuid: str, presented: bytes | None) -> tuple[Format | None, str]:
    """The format of a characteristic's value, and where it is known from: the plan's names, the assigned numbers,
    then what the device says itself."""
    form = names.format_of(uuid)
    if form is not None:
        return form, "assigned number" if form is catalogue.definition(uuid) else "plan"
    if presented is None:
        return None, ""
    try:
        return catalogue.format_from_presentation(presented), "presentation format"
    except MalformedValue:
        return None, ""


async def _read(
    desk: Desk,
    attribute: Attribute,
    label: str,
    seen: CharacteristicSeen | DescriptorSeen,
    skip: Mapping[int, str],
) -> bytes | None:
    """The bytes; where there are none, what was seen of the attribute tells why."""
    link = desk.device.link
    if attribute.handle in skip or not link.is_up:
        seen.unread = skip.get(attribute.handle, LOST_BEFORE)
        return None
    try:
        async with desk.showing(f"reading {label}"):
            return await link.read(attribute, f"read {label}", READ_WITHIN)
    except AttError as error:
        seen.unread, seen.refused = refusal(error.code, error.name), error.code
    except SystemPairing:
        seen.unread = GUARDED
    except (LinkLost, NoAnswer, AttributeMissing) as error:
        seen.unread = error.message
    return None
