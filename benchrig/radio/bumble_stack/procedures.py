"""ATT procedures over one bumble connection: read, write, subscribe, discover (Core Vol 3 Parts F and G).

Each raises att.ATT_Error for an error response and core.TimeoutError when 30 s bring no answer.
"""

from __future__ import annotations

import struct
from bisect import bisect_left, bisect_right
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, cast

from benchrig.radio.bumble_stack.bumble_api import UUID, att
from benchrig.radio.bumble_stack.faults import DeviceFault, NotOffered
from benchrig.values.advertising import uuid_text

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Client
    from benchrig.radio.bumble_stack.unasked import Unasked

PRIMARY_SERVICE, CHARACTERISTIC, CCCD = 0x2800, 0x2803, "00002902-0000-1000-8000-00805f9b34fb"
NOTIFY, INDICATE = 0x10, 0x20
OFF = b"\x00\x00"  # of a CCCD
# Service, secondary service, include and characteristic declarations, extended properties (Core Vol 3 Part G 7.3.1).
DECLARATIONS = {f"0000{number:04x}-0000-1000-8000-00805f9b34fb" for number in (0x2800, 0x2801, 0x2802, 0x2803, 0x2900)}
LONGEST_VALUE = 512
LAST_HANDLE = 0xFFFF


@dataclass
class FoundDescriptor:
    handle: int
    uuid: str


@dataclass
class FoundCharacteristic:
    """`handle` is the value's; `declaration` stands right before it or earlier; `end` is the last handle it owns."""

    declaration: int
    handle: int
    uuid: str
    properties: int
    end: int = 0
    descriptors: list[FoundDescriptor] = field(default_factory=list)


@dataclass
class FoundService:
    handle: int
    end: int
    uuid: str
    characteristics: list[FoundCharacteristic] = field(default_factory=list)


async def answered(client: Client, request: att.ATT_PDU) -> Any:
    """The response to a request."""
    response = await client.send_request(request)
    if response.op_code == att.Opcode.ATT_ERROR_RESPONSE:
        error = cast(att.ATT_Error_Response, response)
        if error.error_code == 0:
            raise DeviceFault("the device answered with an error response that names no error")
        raise att.ATT_Error(error.error_code, error.attribute_handle_in_error)
    return response


async def read(client: Client, handle: int) -> bytes:
    """A value of any length: a response that fills the MTU may have more behind it."""
    response = await answered(client, att.ATT_Read_Request(attribute_handle=handle))
    value = part = bytes(response.attribute_value)
    full = client.mtu - 1
    while len(part) == full and len(value) < LONGEST_VALUE:
        try:
            blob = att.ATT_Read_Blob_Request(attribute_handle=handle, value_offset=len(value))
            part = bytes((await answered(client, blob)).part_attribute_value)
        except att.ATT_Error as error:
            # A device that knows there is no more may say so either way.
            if error.error_code in (att.ATT_ATTRIBUTE_NOT_LONG_ERROR, att.ATT_INVALID_OFFSET_ERROR):
                break
            raise
        value += part
    return value


async def write(client: Client, handle: int, value: bytes) -> None:
    """Write with response, in prepared parts when one request does not hold the value."""
    if len(value) <= client.mtu - 3:
        await answered(client, att.ATT_Write_Request(attribute_handle=handle, attribute_value=value))
    else:
        await _write_long(client, handle, value)


async def _write_long(client: Client, handle: int, value: bytes) -> None:
    size = client.mtu - 5
    try:
        for at in range(0, len(value), size):
            part = value[at : at + size]
            prepare = att.ATT_Prepare_Write_Request(attribute_handle=handle, value_offset=at, part_attribute_value=part)
            echo = await answered(client, prepare)
            if bytes(echo.part_attribute_value) != part or echo.value_offset != at:
                raise DeviceFault(f"the device confirmed other data than were written at offset {at}")
    except (att.ATT_Error, DeviceFault):
        # Empty the device's queue, or these parts would be written by the next long write.
        await client.send_request(att.ATT_Execute_Write_Request(flags=0))
        raise
    await answered(client, att.ATT_Execute_Write_Request(flags=1))


async def write_without_response(client: Client, handle: int, value: bytes) -> None:
    await client.send_command(att.ATT_Write_Command(attribute_handle=handle, attribute_value=value))


async def subscribe(
    client: Client,
    characteristic: FoundCharacteristic,
    callback: Callable[[bytes], None],
    unasked: Unasked,
    *,
    indicate: bool,
) -> None:
    """Enable notifications, or indications with `indicate`; the one the characteristic has where it has one."""
    subscribers, value = _subscription(client, characteristic, indicate=indicate)
    cccd = cccd_of(characteristic)
    subscribers[characteristic.handle] = {callback}
    unasked.configured(characteristic.handle, value)
    try:
        await write(client, cccd, value)
    except BaseException:
        subscribers.pop(characteristic.handle, None)
        unasked.configured(characteristic.handle, OFF)
        raise


async def unsubscribe(client: Client, characteristic: FoundCharacteristic, unasked: Unasked) -> None:
    try:
        await write(client, cccd_of(characteristic), OFF)
    finally:
        unasked.configured(characteristic.handle, OFF)
        client.notification_subscribers.pop(characteristic.handle, None)
        client.indication_subscribers.pop(characteristic.handle, None)


def _subscription(
    client: Client, characteristic: FoundCharacteristic, *, indicate: bool
) -> tuple[dict[int, Any], bytes]:
    can_notify, can_indicate = characteristic.properties & NOTIFY, characteristic.properties & INDICATE
    if can_indicate and (indicate or not can_notify):
        return cast(dict[int, Any], client.indication_subscribers), b"\x02\x00"
    if can_notify and not indicate:
        return cast(dict[int, Any], client.notification_subscribers), b"\x01\x00"
    wanted = "indications" if indicate else "notifications or indications"
    raise NotOffered(f"the characteristic {characteristic.uuid} has no {wanted}")


def cccd_of(characteristic: FoundCharacteristic) -> int:
    for descriptor in characteristic.descriptors:
        if descriptor.uuid == CCCD:
            return descriptor.handle
    raise NotOffered(f"the characteristic {characteristic.uuid} has no client characteristic configuration")


async def discover(client: Client) -> list[FoundService]:
    """The whole table: all services, their characteristics, their descriptors. An error response ends it, never a
    part of the table passed off as the whole."""
    services = [service async for service in _services(client)]
    # one sweep for all services: each of its own would cost two requests more, which is a second with 30 of them
    characteristics = sorted([c async for c in _characteristics(client)], key=lambda c: c.declaration)
    declarations = [c.declaration for c in characteristics]
    for service in services:
        first, end = bisect_left(declarations, service.handle), bisect_right(declarations, service.end)
        service.characteristics = characteristics[first:end]
        for characteristic, after in zip_longest(service.characteristics, service.characteristics[1:]):
            characteristic.end = after.declaration - 1 if after else service.end
            characteristic.descriptors = [
                d async for d in _attributes(client, characteristic.handle + 1, characteristic.end)
            ]
    return services


async def outline(client: Client, *, values: bool = True) -> list[tuple[int, str, bytes | None]]:
    """Every attribute as the server has it, in order: handle, type, and with `values` the value where it is one that the
    table is made of. Unlike discovery this shows includes, secondary services and what stands outside of services."""
    found = [each async for each in _attributes(client, 1, LAST_HANDLE)]
    return [
        (each.handle, each.uuid, await read(client, each.handle) if values and each.uuid in DECLARATIONS else None)
        for each in found
    ]


async def _services(client: Client) -> AsyncIterator[FoundService]:
    def request(start: int) -> att.ATT_PDU:
        return att.ATT_Read_By_Group_Type_Request(
            starting_handle=start, ending_handle=LAST_HANDLE, attribute_group_type=_type(PRIMARY_SERVICE)
        )

    async for response in _sweep(client, 1, LAST_HANDLE, request):
        for entry in _entries(response.attribute_data_list, response.length, 6):
            handle, end = struct.unpack_from("<HH", entry)
            yield FoundService(handle, end, _uuid(entry[4:]))


async def _characteristics(client: Client) -> AsyncIterator[FoundCharacteristic]:
    """Those of all services; where each ends is not known yet."""

    def request(start: int) -> att.ATT_PDU:
        return att.ATT_Read_By_Type_Request(
            starting_handle=start, ending_handle=LAST_HANDLE, attribute_type=_type(CHARACTERISTIC)
        )

    async for response in _sweep(client, 1, LAST_HANDLE, request):
        for entry in _entries(response.attribute_data_list, response.length, 7):
            declaration, properties, handle = struct.unpack_from("<HBH", entry)
            yield FoundCharacteristic(declaration, handle, _uuid(entry[5:]), properties)


async def _attributes(client: Client, start: int, end: int) -> AsyncIterator[FoundDescriptor]:
    """All attributes in a range of handles, whatever they are."""

    def request(start: int) -> att.ATT_PDU:
        return att.ATT_Find_Information_Request(starting_handle=start, ending_handle=end)

    async for response in _sweep(client, start, end, request):
        size = {1: 4, 2: 18}.get(response.format, 0)
        for entry in _entries(response.information_data, size, 4):
            yield FoundDescriptor(int.from_bytes(entry[:2], "little"), _uuid(entry[2:]))


async def _sweep(client: Client, start: int, end: int, request: Callable[[int], att.ATT_PDU]) -> AsyncIterator[Any]:
    """Responses to one request over a range of handles, until the device says there is no more."""
    while start <= end:
        try:
            response = await answered(client, request(start))
        except att.ATT_Error as error:
            if error.error_code == att.ATT_ATTRIBUTE_NOT_FOUND_ERROR:
                return
            raise
        yield response
        last = _last_handle(response)
        if last < start:
            raise DeviceFault(f"the device's table ends early, after handle 0x{start:04X}")
        start = last + 1


def _last_handle(response: Any) -> int:
    """Where a response leaves off: for services the end of the last group, else the last handle."""
    if isinstance(response, att.ATT_Read_By_Group_Type_Response):
        return int.from_bytes(response.attribute_data_list[-response.length :][2:4], "little")
    if isinstance(response, att.ATT_Read_By_Type_Response):
        return int.from_bytes(response.attribute_data_list[-response.length :][:2], "little")
    size = 4 if response.format == 1 else 18
    return int.from_bytes(response.information_data[-size:][:2], "little")


def _entries(data: bytes, size: int, least: int) -> Iterator[bytes]:
    if size < least or not data or len(data) % size:
        raise DeviceFault(f"the device answered a discovery with {len(data)} bytes in entries of {size}")
    for at in range(0, len(data), size):
        yield data[at : at + size]


def _uuid(octets: bytes) -> str:
    if len(octets) not in (2, 16):
        raise DeviceFault(f"the device's table holds a UUID of {len(octets)} bytes")
    return uuid_text(octets)


@cache  # a UUID is looked for among all that were ever made
def _type(uuid16: int) -> Any:
    return UUID.from_16_bits(uuid16)
