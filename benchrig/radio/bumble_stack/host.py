"""bumble's host, with advertising reports on a short path, errors that do not vanish, and a controller that may fail."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING, Any, NoReturn

from benchrig.radio.bumble_stack.bumble_api import Host, Plain, TransportLostError, att, core, hci
from benchrig.radio.bumble_stack.reports import HeardPdu, is_report, reports

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchrig.radio.bumble_stack.bumble_api import TransportSink, TransportSource

# An event of the host and of bumble's connections: a device sent what is no PDU.
MALFORMED = "malformed_pdu"
# Time for a controller to answer a command, with those that stand before it in the queue.
ANSWER_WITHIN = 5.0
_SHOWN = 16  # octets of a packet that is quoted
_NOTIFICATION = bytes((att.Opcode.ATT_HANDLE_VALUE_NOTIFICATION,))
_HANDLE_END = 3  # octets before the value (Core Vol 3 Part F 3.4.7.1)


class StackHost(Host):
    """`lost` says why the controller cannot be used any more, '' while it can; `gone` is done then.

    What goes wrong on a packet of the virtual radio's own controller is a fault of this program and stands in
    `errors`. With `foreign`, the controller is somebody else's: what it sends wrong makes it lost.
    """

    def __init__(self, source: TransportSource, sink: TransportSink, *, foreign: bool = False) -> None:
        super().__init__(source, sink)
        self.on_pdu: Any = _ignore
        self.errors: list[Exception] = []
        # who takes the frames of a connection before bumble sees them (raw.py), by its handle
        self.raw: dict[int, Callable[[int, bytes], bool]] = {}
        # who hears the notifications of a connection, by its handle: they are many, and bumble's way to him is long
        self.notified: dict[int, Callable[[att.ATT_Handle_Value_Notification], None]] = {}
        self.foreign = foreign
        self.lost = ""
        self.gone: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def lose(self, why: str) -> None:
        """The controller is of no use any more: whoever waits for it hears so, every link is gone."""
        if self.lost:
            return
        self.lost = why
        self.gone.set_result(None)
        if self.pending_response and not self.pending_response.done():
            self.pending_response.set_exception(TransportLostError(why))
        # bumble sets a result where its other listener has cancelled: a disconnection that is under way
        with contextlib.suppress(asyncio.InvalidStateError):
            self.emit("flush")

    def on_transport_lost(self) -> None:
        self.lose("the connection to the controller is lost")

    def on_packet(self, packet: bytes | Plain) -> None:
        if self.lost:
            return
        try:
            if isinstance(packet, bytes):
                self._take(packet)
            else:
                super().on_packet(packet)
        except Exception as exc:
            if self.foreign and isinstance(packet, bytes):
                shown = packet[:_SHOWN].hex(" ") + (" …" if len(packet) > _SHOWN else "")
                self.lose(f"the controller sent invalid or unexpected HCI: {shown}")
                return
            self.errors.append(exc)
            raise

    def _take(self, packet: bytes) -> None:
        if self.ready and is_report(packet):
            if self.snooper:
                self.snooper.snoop(packet, self.snooper.Direction.CONTROLLER_TO_HOST)
            for pdu in reports(packet):
                self.on_pdu(pdu)
            return
        parsed = hci.HCI_Packet.from_bytes(packet)
        is_reset = isinstance(parsed, hci.HCI_Command_Complete_Event) and parsed.command_opcode == hci.HCI_RESET_COMMAND
        # what a controller still says from before its reset is not for this host
        if self.ready or is_reset:
            self.on_hci_packet(parsed)

    def on_command_processed(self, event: Any) -> None:
        """As bumble's, which takes any answer for the one that is due: a late one belongs to a command given up."""
        due, pending = self.pending_command, self.pending_response
        if due is None or pending is None or (due.op_code == event.command_opcode and not pending.done()):
            super().on_command_processed(event)

    def on_hci_acl_data_packet(self, packet: hci.HCI_AclDataPacket) -> None:
        """As bumble's; what a device sends that is no PDU ends its link, as a real host would, and harms no other."""
        try:
            super().on_hci_acl_data_packet(packet)
        except Exception as exc:
            if connection := self.connections.get(packet.connection_handle):
                self.emit(MALFORMED, connection.handle, exc)

    def on_l2cap_pdu(self, connection: Any, cid: int, pdu: bytes) -> None:
        take, hear = self.raw.get(connection.handle), self.notified.get(connection.handle)
        if take is not None and take(cid, pdu):
            return
        if hear is not None and cid == att.ATT_CID and pdu[:1] == _NOTIFICATION and len(pdu) >= _HANDLE_END:
            handle = int.from_bytes(pdu[1:_HANDLE_END], "little")
            hear(att.ATT_Handle_Value_Notification(handle, pdu[_HANDLE_END:]))
        else:
            super().on_l2cap_pdu(connection, cid, pdu)

    async def send_and_wait(self, command: Any, response_timeout: float | None = None) -> Any:
        """As bumble's, which may wait for ever: a controller that does not answer in time is lost. Raises
        TransportLostError then, and at once when it is lost already; a shorter time-out is its caller's to deal with."""
        within = min(ANSWER_WITHIN, response_timeout or ANSWER_WITHIN)
        if self.lost:
            raise TransportLostError(self.lost)
        try:
            async with asyncio.timeout(within):
                return await super().send_and_wait(command)
        except TimeoutError:
            if response_timeout is not None and response_timeout < ANSWER_WITHIN:
                raise
            self._no_answer(command, within)

    async def ask(self, command: Any, within: float) -> Any:
        """The answer to a command that a controller in order answers at once. Raises TransportLostError, HCI_Error."""
        try:
            return await self.send_sync_command(command, response_timeout=within)
        except TimeoutError:
            self._no_answer(command, within)

    def _no_answer(self, command: Any, within: float) -> NoReturn:
        self.lose(f"the controller did not answer {in_words(str(command.name))} within {within:g} s")
        raise TransportLostError(self.lost)

    async def send_sync_command(self, command: Any, response_timeout: float | None = None) -> Any:
        """As bumble's; an answer that does not belong to the command makes the controller lost."""
        try:
            return await super().send_sync_command(command, response_timeout)
        except (core.BaseBumbleError, hci.HCI_Error, TimeoutError):
            raise
        except Exception as exc:
            self._unfit(command, exc)

    async def send_async_command(
        self, command: Any, check_status: bool = True, response_timeout: float | None = None
    ) -> Any:
        """As bumble's; likewise."""
        try:
            return await super().send_async_command(command, check_status, response_timeout)
        except (core.BaseBumbleError, hci.HCI_Error, TimeoutError):
            raise
        except Exception as exc:
            self._unfit(command, exc)

    def _unfit(self, command: Any, exc: Exception) -> NoReturn:
        if not self.foreign:
            raise exc
        self.lose(f"the controller's answer to {in_words(str(command.name))} does not belong to that command")
        raise TransportLostError(self.lost) from exc


def in_words(command: str) -> str:
    """'HCI_RESET_COMMAND' -> 'Reset'."""
    words = command.removeprefix("HCI_").removesuffix("_COMMAND").split("_")
    return " ".join(word if word == "LE" else word.capitalize() for word in words)


def _ignore(_: HeardPdu) -> None:
    pass
