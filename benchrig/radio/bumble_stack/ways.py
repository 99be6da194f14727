"""Requests about one attribute that no usual procedure sends: what protects a value has to hold against each of them (Core
Vol 3 Part F 3.4.4, 3.4.6)."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any

from benchrig.radio.bumble_stack.bumble_api import UUID, att
from benchrig.radio.bumble_stack.procedures import answered
from benchrig.values.catalogue import short_uuid

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Client

_CANCEL, _EXECUTE = 0, 1
# Of a signed write: a counter and a code (Core Vol 3 Part F 3.3.1). This one is nobody's.
_SIGNATURE = bytes(12)


async def _read_request(client: Client, handle: int, uuid: str, data: bytes) -> None:
    """The first part alone: of a long value a device may guard no more than the rest."""
    await answered(client, att.ATT_Read_Request(attribute_handle=handle))


async def _read_blob(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await answered(client, att.ATT_Read_Blob_Request(attribute_handle=handle, value_offset=0))


async def _read_by_type(client: Client, handle: int, uuid: str, data: bytes) -> None:
    request = att.ATT_Read_By_Type_Request(
        starting_handle=handle, ending_handle=handle, attribute_type=UUID(_on_air(uuid))
    )
    await answered(client, request)


async def _read_multiple(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await answered(client, att.ATT_Read_Multiple_Request(set_of_handles=[handle, handle]))


async def _read_multiple_variable(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await answered(client, att.ATT_Read_Multiple_Variable_Request(set_of_handles=[handle, handle]))


async def _find_by_type_value(client: Client, handle: int, uuid: str, data: bytes) -> None:
    """Who knows the value is told that it is right. The type has to be one of 16 bits."""
    request = att.ATT_Find_By_Type_Value_Request(
        starting_handle=handle, ending_handle=handle, attribute_type=UUID(_on_air(uuid)), attribute_value=data
    )
    await answered(client, request)


async def _prepare_write(client: Client, handle: int, uuid: str, data: bytes) -> None:
    part = data[: client.mtu - 5]
    request = att.ATT_Prepare_Write_Request(attribute_handle=handle, value_offset=0, part_attribute_value=part)
    await answered(client, request)
    await answered(client, att.ATT_Execute_Write_Request(flags=_CANCEL))


async def _execute_write(client: Client, handle: int, uuid: str, data: bytes) -> None:
    """Execute, whatever the prepared part was answered with: the value shows what came of it."""
    part = data[: client.mtu - 5]
    request = att.ATT_Prepare_Write_Request(attribute_handle=handle, value_offset=0, part_attribute_value=part)
    await client.send_request(request)
    await answered(client, att.ATT_Execute_Write_Request(flags=_EXECUTE))


async def _write_command(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await client.send_command(att.ATT_Write_Command(attribute_handle=handle, attribute_value=data[: client.mtu - 3]))


async def _signed_write(client: Client, handle: int, uuid: str, data: bytes) -> None:
    value = data[: client.mtu - 3 - len(_SIGNATURE)] + _SIGNATURE
    await client.send_command(att.ATT_Signed_Write_Command(attribute_handle=handle, attribute_value=value))


def _on_air(uuid: str) -> str:
    """16 bits where it has 16, else 128; ATT carries no others (Core Vol 3 Part F 3.2.1)."""
    short = short_uuid(uuid)
    return short if len(short) == 4 else uuid


WAYS: dict[str, Callable[[Client, int, str, bytes], Coroutine[Any, Any, None]]] = {
    "read request": _read_request,
    "read blob": _read_blob,
    "read by type": _read_by_type,
    "read multiple": _read_multiple,
    "read multiple variable": _read_multiple_variable,
    "find by type value": _find_by_type_value,
    "prepare write": _prepare_write,
    "execute write": _execute_write,
    "write command": _write_command,
    "signed write": _signed_write,
}
