"""bumble's GATT server, made as strict and as talkative as a device has to be.

It enforces the readable and writable bits and what an attribute needs of the link (access_rules.py) with the right ATT
error, answers a request whatever goes wrong in it, and checks that a written descriptor or value exists before it queues
parts for it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import TYPE_CHECKING, Any, Protocol, cast

from benchrig.radio.bumble_stack.bumble_api import Characteristic, Descriptor, Server, Service, att
from benchrig.radio.virtual.access_rules import OPEN, Access, Needs, refusal
from benchrig.radio.virtual.behaviour import Refused, Unanswered
from benchrig.radio.virtual.discovery import find_by_type_value, find_information, read_by_group, read_by_type
from benchrig.radio.virtual.gatt_spec import LONGEST_VALUE

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection, Device
    from benchrig.radio.security import Protection

Read = Callable[["Connection"], Awaitable[bytes]]
Write = Callable[["Connection", bytes], Awaitable[None]]
Handler = Callable[[att.Bearer, Any], Awaitable[att.ATT_PDU | None]]
_NOT_PERMITTED: dict[Access, tuple[att.Attribute.Permissions, att.ErrorCode]] = {
    "read": (att.Attribute.READABLE, att.ErrorCode.READ_NOT_PERMITTED),
    "write": (att.Attribute.WRITEABLE, att.ErrorCode.WRITE_NOT_PERMITTED),
}


class Security(Protocol):
    """The security of the device, as far as its server needs it."""

    @property
    def is_strict(self) -> bool: ...

    def has_key(self, connection: Connection) -> bool: ...

    def protection(self, connection: Connection) -> Protection | None: ...


class StrictServer(Server):
    """`spawn` runs a task that ends with the device; `on_error` hears of faults of the simulation."""

    def __init__(
        self,
        device: Device,
        security: Security,
        spawn: Callable[[Coroutine[Any, Any, None]], object],
        on_error: Callable[[Exception], None],
    ) -> None:
        super().__init__(device)
        self._security = security
        self._needs: dict[tuple[int, Access], Needs] = {}
        self._spawn = spawn
        self._on_error = on_error
        self._busy: dict[att.Bearer, asyncio.Lock] = {}
        self._long_values: dict[tuple[att.Bearer, int], bytes] = {}
        self._handlers: dict[type[att.ATT_PDU], Handler] = {
            att.ATT_Read_Request: self._read,
            att.ATT_Read_Blob_Request: self._read_blob,
            att.ATT_Read_Multiple_Request: self._read_multiple,
            att.ATT_Read_Multiple_Variable_Request: self._read_multiple_variable,
            att.ATT_Write_Request: self._write,
            att.ATT_Write_Command: self._write_command,
            att.ATT_Prepare_Write_Request: self._prepare,
            att.ATT_Execute_Write_Request: self._execute,
            att.ATT_Find_Information_Request: lambda bearer, pdu: find_information(self.attributes, bearer, pdu),
            att.ATT_Find_By_Type_Value_Request: lambda bearer, pdu: find_by_type_value(
                self.attributes, bearer, pdu, self._value
            ),
            att.ATT_Read_By_Type_Request: lambda bearer, pdu: read_by_type(self.attributes, bearer, pdu, self._value),
            att.ATT_Read_By_Group_Type_Request: lambda bearer, pdu: read_by_group(self.attributes, bearer, pdu),
        }

    def add_service_without(self, service: Service, without_cccd: list[Characteristic[Any]]) -> None:
        """Add a service in which some characteristics lack the descriptor that bumble would add: it looks at the
        properties, so these come when that is done."""
        properties = {id(one): one.properties for one in without_cccd}
        for one in without_cccd:
            one.properties &= ~(Characteristic.Properties.NOTIFY | Characteristic.Properties.INDICATE)
        self.add_service(service)
        for one in without_cccd:
            one.properties = properties[id(one)]
            self.declare(one, one.properties)

    def declare(self, characteristic: Characteristic[Any], properties: int) -> None:
        """Tell these properties of it in the table, whatever it has."""
        declaration = self.attributes[characteristic.handle - 2]
        declaration.value = bytes((properties,)) + cast(bytes, declaration.value)[1:]

    def on_gatt_pdu(self, bearer: att.Bearer, att_pdu: att.ATT_PDU) -> None:
        """Discovery, reads and writes run here, one after the other for each connection; the rest as in bumble."""
        handler = self._handlers.get(type(att_pdu))
        if handler is None:
            super().on_gatt_pdu(bearer, att_pdu)
        else:
            self._spawn(self._answer(bearer, att_pdu, handler))

    def get_attribute(self, handle: int) -> att.Attribute[Any] | None:
        """As bumble's, which walks through the table: handles are given without gaps."""
        return self.attributes[handle - 1] if 0 < handle <= len(self.attributes) else None

    async def _answer(self, bearer: att.Bearer, pdu: Any, handler: Handler) -> None:
        async with self._busy.setdefault(bearer, asyncio.Lock()):
            try:
                response = await handler(bearer, pdu)
            except Unanswered:
                return
            except Refused as refused:
                response = _error(pdu, refused.code)
            except att.ATT_Error as error:
                response = _error(pdu, error.error_code, error.att_handle)
            except Exception as exc:
                self._on_error(exc)
                response = _error(pdu, att.ErrorCode.UNLIKELY_ERROR)
            is_command = isinstance(pdu, att.ATT_Write_Command)
            if response is not None and not is_command and self._is_up(bearer):
                self.send_response(bearer, response)

    def _is_up(self, bearer: att.Bearer) -> bool:
        return bearer in self.device.connections.values()

    def protect(self, attribute: att.Attribute[Any], access: Access, needs: Needs) -> None:
        """From now on this access needs so much; what needs nothing is not looked up."""
        self._needs.pop((attribute.handle, access), None)
        if needs != OPEN:
            self._needs[attribute.handle, access] = needs

    def refuses(self, bearer: att.Bearer, attribute: att.Attribute[Any], access: Access) -> int | None:
        """The error for a link that is not protected as this access needs."""
        needs = self._needs.get((attribute.handle, access))
        if needs is None:
            return None
        link, security = cast("Connection", bearer), self._security
        return refusal(needs, security.protection(link), has_key=security.has_key(link), strict=security.is_strict)

    def _check(self, bearer: att.Bearer, attribute: att.Attribute[Any], access: Access) -> None:
        """Permissions first, then the security of the link. Raises ATT_Error."""
        permission, error = _NOT_PERMITTED[access]
        has_permissions = isinstance(attribute, (Characteristic, Descriptor))
        if not attribute.permissions & permission if has_permissions else access == "write":
            raise att.ATT_Error(error)
        if code := self.refuses(bearer, attribute, access):
            raise att.ATT_Error(att.ErrorCode(code))

    def _existing(self, handle: int) -> att.Attribute[Any]:
        attribute = self.get_attribute(handle)
        if attribute is None:
            raise att.ATT_Error(att.ErrorCode.INVALID_HANDLE)
        return attribute

    def _readable(self, bearer: att.Bearer, handle: int) -> att.Attribute[Any]:
        attribute = self._existing(handle)
        self._check(bearer, attribute, "read")
        return attribute

    def _writable(
        self, bearer: att.Bearer, handle: int, way: Characteristic.Properties = Characteristic.Properties.WRITE
    ) -> att.Attribute[Any]:
        """An attribute that may be written in this way."""
        attribute = self._existing(handle)
        if isinstance(attribute, Characteristic) and not attribute.properties & way:
            raise att.ATT_Error(att.ErrorCode.WRITE_NOT_PERMITTED)
        self._check(bearer, attribute, "write")
        return attribute

    async def _value(self, bearer: att.Bearer, attribute: att.Attribute[Any]) -> bytes:
        self._check(bearer, attribute, "read")
        return await attribute.read_value(bearer)

    async def _read(self, bearer: att.Bearer, request: att.ATT_Read_Request) -> att.ATT_PDU:
        value = await self._readable(bearer, request.attribute_handle).read_value(bearer)
        self._long_values.pop((bearer, request.attribute_handle), None)
        if len(value) >= bearer.att_mtu - 1:
            # The parts that follow belong to this value, whatever the next one would be.
            self._long_values[bearer, request.attribute_handle] = value
        return att.ATT_Read_Response(attribute_value=value[: bearer.att_mtu - 1])

    async def _read_blob(self, bearer: att.Bearer, request: att.ATT_Read_Blob_Request) -> att.ATT_PDU:
        attribute = self._readable(bearer, request.attribute_handle)
        value = self._long_values.get((bearer, request.attribute_handle))
        if value is None:
            value = await attribute.read_value(bearer)
        if request.value_offset > len(value):
            raise att.ATT_Error(att.ErrorCode.INVALID_OFFSET)
        if len(value) < bearer.att_mtu - 1:
            raise att.ATT_Error(att.ErrorCode.ATTRIBUTE_NOT_LONG)
        part = value[request.value_offset :][: bearer.att_mtu - 1]
        return att.ATT_Read_Blob_Response(part_attribute_value=part)

    async def _read_multiple(self, bearer: att.Bearer, request: att.ATT_Read_Multiple_Request) -> att.ATT_PDU:
        values = [await self._readable(bearer, handle).read_value(bearer) for handle in request.set_of_handles]
        return att.ATT_Read_Multiple_Response(set_of_values=b"".join(values)[: bearer.att_mtu - 1])

    async def _read_multiple_variable(
        self, bearer: att.Bearer, request: att.ATT_Read_Multiple_Variable_Request
    ) -> att.ATT_PDU:
        entries, room = list[tuple[int, bytes]](), bearer.att_mtu - 1
        for handle in request.set_of_handles:
            value = await self._readable(bearer, handle).read_value(bearer)
            entries += [(len(value), value[: room - 2])] if room > 2 else []
            room -= 2 + len(value)
        return att.ATT_Read_Multiple_Variable_Response(length_value_tuple_list=entries)

    async def _write(self, bearer: att.Bearer, request: att.ATT_Write_Request) -> att.ATT_PDU:
        attribute = self._writable(bearer, request.attribute_handle)
        await attribute.write_value(bearer, _short(bytes(request.attribute_value)))
        return att.ATT_Write_Response()

    async def _write_command(self, bearer: att.Bearer, request: att.ATT_Write_Command) -> None:
        way = Characteristic.Properties.WRITE_WITHOUT_RESPONSE
        attribute = self._writable(bearer, request.attribute_handle, way)
        await attribute.write_value(bearer, _short(bytes(request.attribute_value)))

    async def _prepare(self, bearer: att.Bearer, request: att.ATT_Prepare_Write_Request) -> att.ATT_PDU | None:
        self._writable(bearer, request.attribute_handle)
        self.on_att_prepare_write_request(bearer, request)
        return None

    async def _execute(self, bearer: att.Bearer, request: att.ATT_Execute_Write_Request) -> att.ATT_PDU:
        queue = self.prepared_writes.pop(bearer, [])
        if request.flags:
            for handle, value in _assembled(queue).items():
                await self._writable(bearer, handle).write_value(bearer, value)
        return att.ATT_Execute_Write_Response()

    def write_cccd(self, bearer: att.Bearer, characteristic: Characteristic[Any], value: bytes) -> None:
        """Refuses what no CCCD can hold, and a kind of update that the characteristic does not have."""
        if len(value) != 2:
            raise att.ATT_Error(att.ErrorCode.INVALID_ATTRIBUTE_LENGTH)
        wanted = int.from_bytes(value, "little")
        able = (int(characteristic.properties) >> 4) & 0b11
        if wanted & ~able:
            raise att.ATT_Error(att.ErrorCode.CCCD_IMPROPERLY_CONFIGURED)
        super().write_cccd(bearer, characteristic, value)

    def resume(self, bearer: att.Bearer, characteristic: Characteristic[Any], value: bytes) -> None:
        """The CCCD has this value again, without a question."""
        super().write_cccd(bearer, characteristic, value)

    def notify(self, connection: Connection, attribute: att.Attribute[Any], value: bytes) -> None:
        """As bumble's, which makes an object of it first: what the link does not carry is cut."""
        head = bytes((att.Opcode.ATT_HANDLE_VALUE_NOTIFICATION,)) + attribute.handle.to_bytes(2, "little")
        self.send_gatt_pdu(connection, head + value[: connection.att_mtu - len(head)])

    def on_att_handle_value_confirmation(
        self, bearer: att.Bearer, confirmation: att.ATT_Handle_Value_Confirmation
    ) -> None:
        """One that nobody waits for any more: the subscription has ended since."""
        pending = self.pending_confirmations.get(bearer)
        if pending is not None and not pending.done():
            super().on_att_handle_value_confirmation(bearer, confirmation)

    def on_disconnection(self, bearer: att.Bearer) -> None:
        if (confirmation := self.pending_confirmations.get(bearer)) and not confirmation.done():
            confirmation.cancel()
        super().on_disconnection(bearer)
        self._busy.pop(bearer, None)
        for key in [key for key in self._long_values if key[0] is bearer]:
            del self._long_values[key]


def _assembled(queue: list[tuple[int, int, bytes]]) -> dict[int, bytes]:
    """The values of prepared parts, which have to come without a gap."""
    values: dict[int, bytes] = {}
    for handle, offset, part in queue:
        value = values.get(handle, b"")
        if offset > len(value):
            raise att.ATT_Error(att.ErrorCode.INVALID_OFFSET)
        values[handle] = _short(value[:offset] + bytes(part))
    return values


def _short(value: bytes) -> bytes:
    """The value, which has at most 512 octets (Core Vol 3 Part F 3.2.9)."""
    if len(value) > LONGEST_VALUE:
        raise att.ATT_Error(att.ErrorCode.INVALID_ATTRIBUTE_LENGTH)
    return value


def _error(pdu: Any, code: int, handle: int = 0) -> att.ATT_PDU:
    """`handle` is that of the attribute in error, where the request does not name one."""
    return att.ATT_Error_Response(
        request_opcode_in_error=pdu.op_code,
        attribute_handle_in_error=getattr(pdu, "attribute_handle", handle or getattr(pdu, "starting_handle", 0)),
        error_code=code,
    )
