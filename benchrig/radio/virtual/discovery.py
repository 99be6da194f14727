"""Answers to a client that discovers the table of a simulated device.

bumble's own walk through the whole table for each request, so a discovery would take the square of its attributes.
Sections are those of Core Vol 3 Part F.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from benchrig.radio.bumble_stack.bumble_api import UUID, att

Attributes = Sequence[att.Attribute[Any]]
# What a client may read of an attribute. Raises ATT_Error.
Value = Callable[[att.Bearer, att.Attribute[Any]], Awaitable[bytes]]

_GROUPS = (UUID.from_16_bits(0x2800), UUID.from_16_bits(0x2801))  # primary and secondary services
_LONGEST_ENTRY = 255  # its length is one octet


class Entries:
    """The entries of one answer: of one length, as many as there is room for."""

    def __init__(self, mtu: int) -> None:
        self._room = mtu - 2
        self.size = 0
        self.octets = b""

    def add(self, entry: bytes) -> bool:
        """Whether it was taken."""
        if len(self.octets) + len(entry) > self._room or (self.octets and len(entry) != self.size):
            return False
        self.size = len(entry)
        self.octets += entry
        return True


async def find_information(attributes: Attributes, bearer: att.Bearer, request: Any) -> att.ATT_PDU:
    """3.4.3.1: handles and types."""
    entries = Entries(bearer.att_mtu)
    for attribute in _asked(attributes, request):
        if not entries.add(_handle(attribute.handle) + attribute.type.to_pdu_bytes()):
            break
    _found(entries)
    return att.ATT_Find_Information_Response(format=1 if entries.size == 4 else 2, information_data=entries.octets)


async def find_by_type_value(attributes: Attributes, bearer: att.Bearer, request: Any, value_of: Value) -> att.ATT_PDU:
    """3.4.3.3: handles and ends of attributes with this value; one that may not be read has none."""
    entries = Entries(bearer.att_mtu + 1)
    for attribute in _asked(attributes, request):
        if attribute.type != request.attribute_type or not await _has(attribute, bearer, request, value_of):
            continue
        end = attribute.end_group_handle if attribute.type in _GROUPS else attribute.handle
        if not entries.add(_handle(attribute.handle) + _handle(end)):
            break
    _found(entries)
    return att.ATT_Find_By_Type_Value_Response(handles_information_list=entries.octets)


async def _has(attribute: att.Attribute[Any], bearer: att.Bearer, request: Any, value_of: Value) -> bool:
    try:
        return await value_of(bearer, attribute) == bytes(request.attribute_value)
    except att.ATT_Error:
        return False


async def read_by_type(attributes: Attributes, bearer: att.Bearer, request: Any, value_of: Value) -> att.ATT_PDU:
    """3.4.4.1: handles and values; a value that cannot be read ends the answer, or is the answer."""
    entries = Entries(bearer.att_mtu)
    for attribute in _asked(attributes, request):
        if attribute.type != request.attribute_type:
            continue
        try:
            value = await value_of(bearer, attribute)
        except att.ATT_Error as error:
            if entries.octets:
                break
            raise att.ATT_Error(error.error_code, attribute.handle) from error
        if not entries.add(_handle(attribute.handle) + value[: min(bearer.att_mtu - 4, _LONGEST_ENTRY - 2)]):
            break
    _found(entries)
    return att.ATT_Read_By_Type_Response(length=entries.size, attribute_data_list=entries.octets)


async def read_by_group(attributes: Attributes, bearer: att.Bearer, request: Any) -> att.ATT_PDU:
    """3.4.4.9: handles, ends and values of services."""
    if request.attribute_group_type not in _GROUPS:
        raise att.ATT_Error(att.ErrorCode.UNSUPPORTED_GROUP_TYPE)
    entries = Entries(bearer.att_mtu)
    for attribute in _asked(attributes, request):
        if attribute.type == request.attribute_group_type:
            ends = _handle(attribute.handle) + _handle(attribute.end_group_handle)
            if not entries.add(
                ends + (await attribute.read_value(bearer))[: min(bearer.att_mtu - 6, _LONGEST_ENTRY - 4)]
            ):
                break
    _found(entries)
    return att.ATT_Read_By_Group_Type_Response(length=entries.size, attribute_data_list=entries.octets)


def _asked(attributes: Attributes, request: Any) -> Attributes:
    """Those in the range that is asked for: handles are given from 1 on, without gaps."""
    if not 0 < request.starting_handle <= request.ending_handle:
        raise att.ATT_Error(att.ErrorCode.INVALID_HANDLE)
    return attributes[request.starting_handle - 1 : request.ending_handle]


def _found(entries: Entries) -> None:
    if not entries.octets:
        raise att.ATT_Error(att.ErrorCode.ATTRIBUTE_NOT_FOUND)


def _handle(number: int) -> bytes:
    return number.to_bytes(2, "little")
