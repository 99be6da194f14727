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

_CANCEL = 0


async def _read_blob(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await answered(client, att.ATT_Read_Blob_Request(attribute_handle=handle, value_offset=0))


async def _read_by_type(client: Client, handle: int, uuid: str, data: bytes) -> None:
    request = att.ATT_Read_By_Type_Request(
        starting_handle=handle, ending_handle=handle, attribute_type=UUID(_on_air(uuid))
    )
    await answered(client, request)


async def _read_multiple(client: Client, handle: int, uuid: str, data: bytes) -> None:
    await answered(client, att.ATT_Read_Multiple_Request(set_of_handles=[handle, handle]))


async def _prepare_write(client: Client, handle: int, uuid: str, data: bytes) -> None:
    part = data[: client.mtu - 5]
    request = att.ATT_Prepare_Write_Request(attribute_handle=handle, value_offset=0, part_attribute_value=part)
    await answered(client, request)
    await answered(client, att.ATT_Execute_Write_Request(flags=_CANCEL))


def _on_air(uuid: str) -> str:
    """16 bits where it has 16, else 128; ATT carries no others (Core Vol 3 Part F 3.2.1)."""
    short = short_uuid(uuid)
    return short if len(short) == 4 else uuid


WAYS: dict[str, Callable[[Client, int, str, bytes], Coroutine[Any, Any, None]]] = {
    "read blob": _read_blob,
    "read by type": _read_by_type,
    "read multiple": _read_multiple,
    "prepare write": _prepare_write,
}
